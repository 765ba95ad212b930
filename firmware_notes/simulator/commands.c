/* Injections: one line of standard input each.
 *
 *   drop [AFTER_MS [DARK_MS [BOUNCES]]]    beam dark|light        contact follow|open|closed
 *   gas SUM [NOISE_COUNTS]                 tc HEX8                 send HEX...
 *   reset   hang   power on|off            plug   unplug           garble to-host|to-board BYTES
 *   peek SYMBOL BYTES                      run MS (lockstep only)
 *
 * Promise: a line that makes no sense is answered by an `error` event that quotes it, and changes nothing.
 */
#include "commands.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "events.h"
#include "machine.h"
#include "port.h"
#include "serial.h"
#include "wiring.h"

#define EXTERNAL_RESET 0x02
#define MAX_BOUNCES 100
#define MAX_PEEK 64
#define MAX_SEND 1024

static bool drop(const char *rest) {
    double after_ms = 0.0, dark_ms = 3.0;
    unsigned bounces = 0;
    sscanf(rest, "%lf %lf %u", &after_ms, &dark_ms, &bounces);
    return after_ms >= 0.0 && dark_ms > 0.0 && bounces <= MAX_BOUNCES && wiring_drop(after_ms, dark_ms, bounces);
}

static bool gas(const char *rest) {
    double sum, noise_counts = 0.0;
    if (sscanf(rest, "%lf %lf", &sum, &noise_counts) < 1 || noise_counts < 0.0) {
        return false;
    }
    wiring_gas(sum, noise_counts);
    return true;
}

static bool tc(const char *rest) {
    unsigned word;
    if (strlen(rest) != 8 || sscanf(rest, "%8X", &word) != 1) {
        return false;
    }
    wiring_tc(word);
    return true;
}

static bool send(const char *rest) {
    uint8_t bytes[MAX_SEND];
    size_t count = strlen(rest) / 2;
    if (strlen(rest) % 2 || count > MAX_SEND || count > serial_room()) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        unsigned byte;
        if (sscanf(rest + 2 * i, "%2X", &byte) != 1) {
            return false;
        }
        bytes[i] = (uint8_t)byte;
    }
    serial_from_host(bytes, count);
    return true;
}

static bool peek(const char *rest) {
    char symbol[64], digits[2 * MAX_PEEK + 1];
    unsigned count;
    uint8_t bytes[MAX_PEEK];
    if (sscanf(rest, "%63s %u", symbol, &count) != 2 || count > MAX_PEEK ||
        !machine_peek(symbol, (uint16_t)count, bytes)) {
        return false;
    }
    digits[0] = '\0';
    for (unsigned i = 0; i < count; i++) {
        snprintf(digits + 2 * i, 3, "%02X", bytes[i]);
    }
    event("peek %s %s", symbol, digits);
    return true;
}

static bool garble(const char *rest) {
    unsigned bytes;
    if (sscanf(rest, "to-host %u", &bytes) == 1) {
        serial_garble_to_host(bytes);
    } else if (sscanf(rest, "to-board %u", &bytes) == 1) {
        serial_garble_to_board(bytes);
    } else {
        return false;
    }
    return true;
}

static bool run(const char *rest) {
    double ms;
    if (sscanf(rest, "%lf", &ms) != 1 || ms < 0.0) {
        return false;
    }
    uint64_t end = machine_cycle() + (uint64_t)(ms * CYCLES_PER_MS);
    while (machine_cycle() < end && !machine_stopped()) {
        uint64_t next = machine_cycle() + CYCLES_PER_MS;
        port_poll();
        machine_run_until(next < end ? next : end);
    }
    port_poll();
    event("done");
    return true;
}

/* A command without an argument, or with one of a few words. */
static bool word(const char *line) {
    if (strcmp(line, "beam dark") == 0) {
        wiring_beam(true);
    } else if (strcmp(line, "beam light") == 0) {
        wiring_beam(false);
    } else if (strcmp(line, "contact follow") == 0) {
        wiring_contact(CONTACT_FOLLOWS);
    } else if (strcmp(line, "contact open") == 0) {
        wiring_contact(CONTACT_OPEN);
    } else if (strcmp(line, "contact closed") == 0) {
        wiring_contact(CONTACT_CLOSED);
    } else if (strcmp(line, "reset") == 0) {
        machine_reset(EXTERNAL_RESET);
    } else if (strcmp(line, "power on") == 0) {
        machine_power_on();
    } else if (strcmp(line, "power off") == 0) {
        machine_power_off();
    } else if (strcmp(line, "plug") == 0) {
        return port_plug(NULL);
    } else if (strcmp(line, "unplug") == 0) {
        port_unplug();
    } else if (strcmp(line, "hang") == 0) {
        return machine_hang();
    } else {
        return false;
    }
    return true;
}

void commands_run(char *line, bool lockstep) {
    char *rest = strchr(line, ' ');
    rest = rest ? rest + 1 : line + strlen(line);
    bool done;
    if (strncmp(line, "drop", 4) == 0) {
        done = drop(rest);
    } else if (strncmp(line, "gas ", 4) == 0) {
        done = gas(rest);
    } else if (strncmp(line, "tc ", 3) == 0) {
        done = tc(rest);
    } else if (strncmp(line, "send ", 5) == 0) {
        done = send(rest);
    } else if (strncmp(line, "peek ", 5) == 0) {
        done = peek(rest);
    } else if (strncmp(line, "garble ", 7) == 0) {
        done = garble(rest);
    } else if (lockstep && strncmp(line, "run ", 4) == 0) {
        done = run(rest);
    } else {
        done = word(line);
    }
    if (!done) {
        event("error cannot do: %s", line);
    }
    events_watch_pins();
}
