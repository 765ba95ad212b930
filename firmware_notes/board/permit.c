/* The permit: whether heat and drip may go on.
 *
 * Promise: off is the state of rest. The permit is on only while a keep-alive that asks for it is fresh and no local
 * trip is latched; whatever ends that switches it off here, without the host, and only a later keep-alive brings it
 * back. The buzzer sounds when asked to, and by itself while a trip is latched or the keep-alive is missing.
 */
#include "permit.h"

#include <avr/io.h>

#include "board.h"
#include "thermocouple.h"

static uint16_t tc_trip = TC_TRIP_AT_START;
static uint16_t gas_trip = GAS_TRIP_AT_START;
static uint8_t heat_run, gas_run; /* samples in a row with a cause; stop counting at TRIP_SAMPLES */
static bool heat_latched, gas_latched;
static bool kept_alive;
static uint32_t kept_alive_ms; /* of the newest keep-alive; means nothing unless kept_alive */
static bool buzzer_asked;
static bool permitted;

static bool tripped(void) {
    return heat_latched || gas_latched;
}

static bool buzzing(void) {
    return buzzer_asked || tripped() || !kept_alive;
}

static void drive(uint8_t pin, bool on) {
    if (on) {
        PORTD |= _BV(pin);
    } else {
        PORTD &= (uint8_t)~_BV(pin);
    }
}

static void drive_outputs(void) {
    permitted = permitted && kept_alive && !tripped();
    drive(PERMIT_PIN, permitted);
    drive(BUZZER_PIN, buzzing());
}

void permit_start(void) {
    PORTD &= (uint8_t)~_BV(PERMIT_PIN);
    PORTD |= _BV(CONTACT_PIN);
    DDRD |= _BV(PERMIT_PIN) | _BV(BUZZER_PIN);
    drive_outputs();
}

void permit_keep_alive(uint32_t now_ms, bool permit, bool buzzer) {
    kept_alive = true;
    kept_alive_ms = now_ms;
    permitted = permit;
    buzzer_asked = buzzer;
    drive_outputs();
}

bool permit_set_trips(uint16_t tc, uint16_t gas) {
    if (tc > TC_TRIP_MAX || gas > GAS_SUM_MAX) {
        return false;
    }
    tc_trip = tc;
    gas_trip = gas;
    return true;
}

bool permit_clear_trips(void) {
    if (heat_run != 0 || gas_run != 0) {
        return false;
    }
    heat_latched = false;
    gas_latched = false;
    drive_outputs();
    return true;
}

static uint8_t run_of(uint8_t run, bool cause) {
    if (!cause) {
        return 0;
    }
    return run < TRIP_SAMPLES ? run + 1 : run;
}

void permit_judge(uint32_t tc_word, uint16_t gas_sum) {
    bool hot = thermocouple_faulty(tc_word) || thermocouple_quarter_c(tc_word) >= (int16_t)tc_trip;
    heat_run = run_of(heat_run, hot);
    gas_run = run_of(gas_run, gas_sum >= gas_trip);
    heat_latched = heat_latched || heat_run == TRIP_SAMPLES;
    gas_latched = gas_latched || gas_run == TRIP_SAMPLES;
    drive_outputs();
}

void permit_watch(uint32_t now_ms) {
    if (kept_alive && now_ms - kept_alive_ms >= KEEP_ALIVE_MS) {
        kept_alive = false;
        buzzer_asked = false; /* it sounds for the missing keep-alive; a stale wish must not outlive that */
        drive_outputs();
    }
}

uint8_t permit_io(void) {
    uint8_t io = 0;
    if (permitted) {
        io |= IO_PERMIT;
    }
    if (!(PIND & _BV(CONTACT_PIN))) {
        io |= IO_CONTACT;
    }
    if (buzzing()) {
        io |= IO_BUZZER;
    }
    if (kept_alive) {
        io |= IO_KEPT_ALIVE;
    }
    if (heat_latched) {
        io |= IO_TRIP_HEAT;
    }
    if (gas_latched) {
        io |= IO_TRIP_GAS;
    }
    return io;
}
