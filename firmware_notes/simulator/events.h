#ifndef EVENTS_H
#define EVENTS_H

#include <stdbool.h>

void events_open(void); /* takes standard output; what the library prints goes to standard error from here */
void event(const char *format, ...) __attribute__((format(printf, 1, 2))); /* one line: simulated us first */
void events_flush(void);
void events_watch_pins(void); /* say permit and buzzer when they change */
bool events_permit(void);     /* the permit pin as last seen */

#endif
