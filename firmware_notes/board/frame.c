/* Frames out: fields to a line with its CRC.
 *
 * Promise: what leaves here is a valid frame. The longest, an S with every field at its widest, is 88 bytes, well
 * under MAX_LINE, so the buffer cannot run over.
 */
#include "frame.h"

#include <stdlib.h>
#include <string.h>
#include <util/crc16.h>

#include "board.h"
#include "line.h"

static char text[MAX_LINE];
static uint8_t length;

static void put(char c) {
    text[length++] = c;
}

static void put_hex(uint32_t value, uint8_t digits) {
    while (digits-- > 0) {
        put(frame_hex_digit((uint8_t)(value >> (4 * digits)) & 0x0F));
    }
}

void frame_begin(char kind) {
    length = 0;
    put(kind);
}

void frame_letter(char letter) {
    put(',');
    put(letter);
}

void frame_number(uint32_t value) {
    put(',');
    ultoa(value, text + length, 10);
    length += (uint8_t)strlen(text + length);
}

void frame_hex(uint32_t value, uint8_t digits) {
    put(',');
    put_hex(value, digits);
}

void frame_end(void) {
    uint16_t crc = frame_crc(text, length);
    put('*');
    put_hex(crc, 4);
    put('\n');
    line_send(text, length);
}

/* CRC-16/IBM-3740: the library's polynomial 0x1021 step, started from all ones. */
uint16_t frame_crc(const char *body, uint8_t body_length) {
    uint16_t crc = 0xFFFF;
    for (uint8_t i = 0; i < body_length; i++) {
        crc = _crc_xmodem_update(crc, (uint8_t)body[i]);
    }
    return crc;
}

char frame_hex_digit(uint8_t nibble) {
    return (char)(nibble < 10 ? '0' + nibble : 'A' + nibble - 10);
}
