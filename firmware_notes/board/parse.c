/* Bytes in, valid commands out.
 *
 * Promise: nothing that arrives can stop it, and nothing but a whole valid frame gets through. Every other line is
 * counted under the first cause that fits. A line too long is dropped up to the next newline.
 */
#include "parse.h"

#include <string.h>

#include "board.h"
#include "frame.h"

#define CRC_DIGITS 4
#define ROOM (MAX_LINE - 1) /* the newline is not stored */

struct form {
    char kind;
    uint8_t numbers;
    uint16_t largest[MAX_NUMBERS];
};

static const struct form forms[] = {
    {'K', 3, {UINT16_MAX, 1, 1}},
    {'L', 3, {UINT16_MAX, UINT16_MAX, UINT16_MAX}},
    {'C', 1, {UINT16_MAX}},
    {'Q', 1, {UINT16_MAX}},
};

uint16_t parse_rejects[CAUSES];

static char line[ROOM];
static uint8_t length;
static bool skipping; /* to the next newline, inside a line already counted as too long */

static bool reject(enum cause cause) {
    parse_rejects[cause]++;
    return false;
}

static bool printable(uint8_t size) {
    for (uint8_t i = 0; i < size; i++) {
        if (line[i] < 0x20 || line[i] > 0x7E) { /* char is signed: bytes from 0x80 up are below 0x20 too */
            return false;
        }
    }
    return true;
}

/* Where the last star stands, or size if there is none. */
static uint8_t find_star(uint8_t size) {
    for (uint8_t i = size; i-- > 0;) {
        if (line[i] == '*') {
            return i;
        }
    }
    return size;
}

static bool crc_fits(uint8_t body, uint8_t size) {
    if (size - body - 1 != CRC_DIGITS) {
        return false;
    }
    uint16_t crc = frame_crc(line, body);
    for (uint8_t i = 0; i < CRC_DIGITS; i++) {
        uint8_t nibble = (uint8_t)(crc >> (4 * (CRC_DIGITS - 1 - i))) & 0x0F;
        if (line[body + 1 + i] != frame_hex_digit(nibble)) {
            return false;
        }
    }
    return true;
}

static const struct form *find_form(uint8_t body) {
    if (body == 0 || (body > 1 && line[1] != ',')) {
        return NULL;
    }
    for (uint8_t i = 0; i < sizeof forms / sizeof forms[0]; i++) {
        if (forms[i].kind == line[0]) {
            return &forms[i];
        }
    }
    return NULL;
}

static uint8_t count_commas(uint8_t body) {
    uint8_t commas = 0;
    for (uint8_t i = 0; i < body; i++) {
        commas += line[i] == ',';
    }
    return commas;
}

/* A decimal number from *at up to a comma or the body's end: no sign, no leading zero, at most `largest`. */
static bool read_number(uint8_t *at, uint8_t body, uint16_t largest, uint16_t *number) {
    uint8_t first = *at;
    uint32_t value = 0;
    while (*at < body && line[*at] != ',') {
        char digit = line[*at];
        if (digit < '0' || digit > '9' || *at - first == 5) { /* five digits hold any uint16 */
            return false;
        }
        value = value * 10 + (uint8_t)(digit - '0');
        (*at)++;
    }
    uint8_t digits = *at - first;
    if (digits == 0 || (digits > 1 && line[first] == '0') || value > largest) {
        return false;
    }
    *number = (uint16_t)value;
    return true;
}

static bool parse_line(uint8_t size, struct command *command) {
    if (size > 0 && line[size - 1] == '\r') {
        size--;
    }
    if (!printable(size)) {
        return reject(NOT_ASCII);
    }
    uint8_t body = find_star(size);
    if (body == size) {
        return reject(NO_CRC);
    }
    if (!crc_fits(body, size)) {
        return reject(WRONG_CRC);
    }
    const struct form *form = find_form(body);
    if (form == NULL) {
        return reject(UNKNOWN_KIND);
    }
    if (count_commas(body) != form->numbers) {
        return reject(WRONG_FIELD_COUNT);
    }
    uint8_t at = 1;
    for (uint8_t i = 0; i < form->numbers; i++) {
        at++; /* over the comma */
        if (!read_number(&at, body, form->largest[i], &command->numbers[i])) {
            return reject(OUT_OF_RANGE);
        }
    }
    command->kind = form->kind;
    return true;
}

bool parse_byte(uint8_t byte, struct command *command) {
    if (byte != '\n') {
        if (length < ROOM) {
            line[length++] = (char)byte;
        } else if (!skipping) {
            skipping = true;
            reject(TOO_LONG);
        }
        return false;
    }
    uint8_t size = length;
    bool skipped = skipping;
    length = 0;
    skipping = false;
    return !skipped && parse_line(size, command);
}
