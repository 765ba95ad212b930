#ifndef PORT_H
#define PORT_H

#include <stdbool.h>
#include <stdint.h>

bool port_plug(const char *path); /* false: said why; a path given once is kept for the next plug (NULL) */
void port_unplug(void);
void port_put(uint8_t byte);      /* from the board; thrown away while nobody has the port open */
bool port_poll(void);             /* move bytes both ways; true when somebody has just opened the port */

#endif
