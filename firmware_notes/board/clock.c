/* The millisecond, and what hangs on it.
 *
 * Promise: one tick each 16000 cycles, and from it the beat of the gas readings and of the samples, so that the 64
 * readings of a sample are done when the sample falls due.
 */
#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"
#include "gas.h"
#include "gate.h"

#ifndef MS_START
#define MS_START 0 /* a test sets it just below the wrap */
#endif

#define PRESCALED_HZ (F_CPU / 64)

static volatile uint32_t ms = MS_START;
static volatile bool sample_due;
static uint8_t phase_ms; /* since the last sample; only the interrupt uses it */

void clock_start(void) {
    OCR0A = PRESCALED_HZ / 1000 - 1;
    TCCR0A = _BV(WGM01);            /* count to OCR0A, then from 0 */
    TIMSK0 = _BV(OCIE0A);
    TCCR0B = _BV(CS01) | _BV(CS00); /* divide by 64: runs from here */
}

ISR(TIMER0_COMPA_vect) {
    ms++;
    gate_tick();
    if (++phase_ms == SAMPLE_MS) {
        phase_ms = 0;
        gas_close();
        sample_due = true;
    }
    gas_tick();
}

uint32_t clock_ms(void) {
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        now = ms;
    }
    return now;
}

uint32_t clock_ms_in_isr(void) {
    return ms;
}

bool clock_take_sample(void) {
    bool due;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        due = sample_due;
        sample_due = false;
    }
    return due;
}
