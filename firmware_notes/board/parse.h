#ifndef PARSE_H
#define PARSE_H

#include <stdbool.h>
#include <stdint.h>

#define MAX_NUMBERS 3

/* Why a line was thrown away, in the order in which the causes are tried. */
enum cause { TOO_LONG, NOT_ASCII, NO_CRC, WRONG_CRC, UNKNOWN_KIND, WRONG_FIELD_COUNT, OUT_OF_RANGE, CAUSES };

/* Lines thrown away since the start, by cause. The protocol does not send them; a debugger or the simulator reads them. */
extern uint16_t parse_rejects[CAUSES];

struct command {
    char kind;
    uint16_t numbers[MAX_NUMBERS]; /* the command's own number first */
};

/* Take one byte of the line; true when it completes a valid command, which is then in *command. */
bool parse_byte(uint8_t byte, struct command *command);

#endif
