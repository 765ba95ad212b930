#ifndef SERIAL_H
#define SERIAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

void serial_start(bool to_port);                            /* where the board's bytes go: the port, or `tx` events */
size_t serial_room(void);                                   /* how many bytes of the host may wait */
void serial_from_host(const uint8_t *bytes, size_t count); /* count at most serial_room() */
void serial_forget(void);                                   /* the cable is out: what waits is lost */
void serial_garble_to_host(unsigned bytes);                 /* of so many bytes to come, one bit each is wrong */
void serial_garble_to_board(unsigned bytes);

#endif
