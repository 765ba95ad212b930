/* The drop gate: a drop darkens the beam.
 *
 * Promise: each darkening is either a drop or a reject, never lost and never both. One within DEAD_MS of the newest
 * accepted drop is a reject: splash, a satellite droplet, the drop's own ringing. The dead time is not lengthened by
 * rejects, so a chattering gate cannot silence the count; it shows as rejects.
 */
#include "gate.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"
#include "clock.h"

static volatile uint32_t drops;
static volatile uint32_t drop_ms;
static volatile uint16_t rejects;
static volatile uint16_t dark_ms; /* how long the beam has been dark; stops counting past the limit */
static bool dead;                 /* only the interrupts use it */

void gate_start(void) {
    PORTD |= _BV(GATE_PIN);
    EICRA = _BV(ISC01) | _BV(ISC00); /* rising edge: light to dark */
    EIFR = _BV(INTF0);               /* what the pin did before now is no drop */
    EIMSK = _BV(INT0);
}

ISR(INT0_vect) {
    if (dead) {
        rejects++;
        return;
    }
    drops++;
    drop_ms = clock_ms_in_isr();
    dead = true;
}

void gate_tick(void) {
    if (dead && clock_ms_in_isr() - drop_ms >= DEAD_MS) {
        dead = false;
    }
    if (!(PIND & _BV(GATE_PIN))) {
        dark_ms = 0;
    } else if (dark_ms <= DARK_LIMIT_MS) {
        dark_ms++;
    }
}

struct gate_count gate_read(void) {
    struct gate_count count;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        count.now_ms = clock_ms_in_isr();
        count.drops = drops;
        count.drop_ms = drop_ms;
        count.rejects = rejects;
        count.dark = dark_ms > DARK_LIMIT_MS;
    }
    return count;
}
