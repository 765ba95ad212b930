/* The gas sensor's channel: 64 readings spread evenly over a sample.
 *
 * Promise: a sum and a span are of the same 64 readings of the interval that has just ended. The spread makes the sum
 * blind to mains hum as far as a tenth of a second can (5 whole periods of 50 Hz, 6 of 60 Hz).
 */
#include "gas.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"

static uint16_t sum, lowest, highest; /* of the readings so far; only the interrupts use these */
static uint8_t readings;
/* Runs up by GAS_READINGS a tick; each time it reaches SAMPLE_MS a reading begins. From this start the 64th begins on
 * tick 99 and is done long before tick 100 closes the sample. */
static uint8_t share = SAMPLE_MS - 1;
static struct gas_reading closed;

static void begin(void) {
    sum = 0;
    highest = 0;
    lowest = UINT16_MAX;
    readings = 0;
}

void gas_start(void) {
    ADMUX = _BV(REFS0) | GAS_CHANNEL; /* reference: the 5 V supply */
    DIDR0 = _BV(ADC0D);               /* no digital input on an analogue pin */
    ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0); /* 125 kHz: 104 us a reading */
    begin();
}

void gas_tick(void) {
    share += GAS_READINGS;
    if (share >= SAMPLE_MS) {
        share -= SAMPLE_MS;
        ADCSRA |= _BV(ADSC);
    }
}

ISR(ADC_vect) {
    uint16_t reading = ADC;
    sum += reading;
    if (reading < lowest) {
        lowest = reading;
    }
    if (reading > highest) {
        highest = reading;
    }
    readings++;
}

void gas_close(void) {
    closed.sum = sum;
    closed.span = readings == 0 ? 0 : highest - lowest;
    closed.whole = readings == GAS_READINGS;
    begin();
}

struct gas_reading gas_read(void) {
    struct gas_reading reading;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        reading = closed;
    }
    return reading;
}
