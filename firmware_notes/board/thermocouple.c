/* The thermocouple converter: one 32-bit word a sample, over SPI.
 *
 * Promise: the word goes to the host as it came. The board judges only whether it can be believed and how hot it says
 * the junction is, for the local trip; linearisation is the host's work.
 */
#include "thermocouple.h"

#include <avr/io.h>

#include "board.h"

#define SILENT_LOW 0x00000000UL
#define SILENT_HIGH 0xFFFFFFFFUL
#define FAULT_BITS 0x00010007UL /* any fault, short to supply, short to ground, open circuit */
#define ZERO_BITS 0x00020008UL  /* the layout holds these at zero: a one here is noise on the wire, not a reading */
#define HOT_SHIFT 16            /* leaves the 14 bits of the hot junction on top of two others */

void thermocouple_start(void) {
    PORTB |= _BV(SELECT_PIN) | _BV(MISO_PIN);
    DDRB |= _BV(SELECT_PIN) | _BV(MOSI_PIN) | _BV(CLOCK_PIN);
    SPCR = _BV(SPE) | _BV(MSTR) | _BV(SPR0); /* mode 0, most significant bit first, 1 MHz */
}

static uint8_t exchange(void) {
    SPDR = 0;
    loop_until_bit_is_set(SPSR, SPIF); /* 8 us; if it never comes the watchdog does */
    return SPDR;
}

uint32_t thermocouple_read(void) {
    uint32_t word = 0;
    PORTB &= (uint8_t)~_BV(SELECT_PIN);
    for (uint8_t i = 0; i < sizeof word; i++) {
        word = word << 8 | exchange();
    }
    PORTB |= _BV(SELECT_PIN);
    return word;
}

bool thermocouple_faulty(uint32_t word) {
    return word == SILENT_LOW || word == SILENT_HIGH || (word & (FAULT_BITS | ZERO_BITS)) != 0;
}

int16_t thermocouple_quarter_c(uint32_t word) {
    return (int16_t)(word >> HOT_SHIFT) >> 2; /* the shift of a negative number keeps its sign with this compiler */
}
