/* The board: start safely, then wake a thousand times a second and do what is due.
 *
 * Promise: the permit is off before anything else is done; an S frame goes out every SAMPLE_MS; the watchdog is fed only
 * by a whole sample, so that a loop, a clock or an analogue converter that stands still restarts the board within
 * about a second, and a restart switches the permit off.
 */
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "board.h"
#include "clock.h"
#include "command.h"
#include "frame.h"
#include "gas.h"
#include "gate.h"
#include "line.h"
#include "permit.h"
#include "start.h"
#include "thermocouple.h"

static void send_sample(void) {
    static uint32_t seq;
    uint32_t tc_word = thermocouple_read();
    struct gas_reading gas = gas_read();
    permit_judge(tc_word, gas.sum);

    struct gate_count gate = gate_read();
    uint8_t io = permit_io();
    if (gate.dark) {
        io |= IO_GATE_DARK;
    }
    if (start_reset_cause() & RESET_BY_WATCHDOG) {
        io |= IO_WATCHDOG;
    }

    frame_begin('S');
    frame_number(start_boot());
    frame_number(seq++);
    frame_number(gate.now_ms);
    frame_number(gate.drops);
    frame_number(gate.drop_ms);
    frame_number(gate.rejects);
    frame_hex(tc_word, 8);
    frame_number(gas.sum);
    frame_number(gas.span);
    frame_hex(io, 2);
    frame_end();

    if (gas.whole) {
        wdt_reset();
    }
}

int main(void) {
    permit_start();
    wdt_enable(WDTO_1S);
    start_count_boot();
    gate_start();
    gas_start();
    thermocouple_start();
    line_start();
    clock_start();
    sei();
    command_say_hello();
    SMCR = 0; /* idle: clocks and interrupts go on while the core sleeps */
    for (;;) {
        sleep_mode(); /* an interrupt just before it costs one tick at most */
        command_poll();
        permit_watch(clock_ms());
        if (clock_take_sample()) {
            send_sample();
        }
    }
}
