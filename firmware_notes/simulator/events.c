/* What happens, told on standard output.
 *
 * Promise: each event is one line, `US KIND ...`, in the order of simulated time; permit and buzzer are told whenever the
 * part drives them differently, a reset and a lost supply included, which the library's own notifications leave out.
 */
#include "events.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <unistd.h>

#include "machine.h"
#include "wiring.h"

static FILE *out;
static bool permit, buzzer;

void events_open(void) {
    out = fdopen(dup(STDOUT_FILENO), "w");
    dup2(STDERR_FILENO, STDOUT_FILENO);
}

void event(const char *format, ...) {
    va_list arguments;
    fprintf(out, "%" PRIu64 " ", machine_us());
    va_start(arguments, format);
    vfprintf(out, format, arguments);
    va_end(arguments);
    fputc('\n', out);
}

void events_flush(void) {
    fflush(out);
}

void events_watch_pins(void) {
    uint8_t outputs = machine_outputs('D');
    bool now = outputs >> PERMIT_PIN & 1;
    if (now != permit) {
        permit = now;
        event("permit %d", permit);
        wiring_follow(permit);
    }
    now = outputs >> BUZZER_PIN & 1;
    if (now != buzzer) {
        buzzer = now;
        event("buzzer %d", buzzer);
    }
}

bool events_permit(void) {
    return permit;
}
