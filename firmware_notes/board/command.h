#ifndef COMMAND_H
#define COMMAND_H

void command_poll(void);      /* obey what has come in */
void command_say_hello(void); /* send a B frame */

#endif
