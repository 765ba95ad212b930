#ifndef FRAME_H
#define FRAME_H

#include <stdint.h>

/* Build one frame at a time: begin, fields in order, end. */
void frame_begin(char kind);
void frame_letter(char letter);                 /* ",L" */
void frame_number(uint32_t value);              /* ",123" */
void frame_hex(uint32_t value, uint8_t digits); /* ",0B", upper case, fixed width */
void frame_end(void);                           /* "*CRC\n", and away */

uint16_t frame_crc(const char *body, uint8_t length);
char frame_hex_digit(uint8_t nibble);

#endif
