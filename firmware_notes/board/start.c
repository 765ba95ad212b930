/* Why the board started, and for which time.
 *
 * Promise: the reset cause is read before anything can lose it, and each start has a number that the one before it
 * did not have. An erased part begins at 0.
 */
#include "start.h"

#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/wdt.h>

static uint8_t cause __attribute__((section(".noinit")));
static uint16_t boot;
static uint16_t boot_count EEMEM;

/* Runs before the variables are cleared. After a watchdog reset the watchdog stays armed at its shortest time, about
 * 15 ms, so it is disarmed here and not in main(). */
void keep_reset_cause(void) __attribute__((naked, used, section(".init3")));
void keep_reset_cause(void) {
    cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

uint8_t start_reset_cause(void) {
    return cause;
}

void start_count_boot(void) {
    boot = (uint16_t)(eeprom_read_word(&boot_count) + 1u);
    eeprom_update_word(&boot_count, boot);
}

uint16_t start_boot(void) {
    return boot;
}
