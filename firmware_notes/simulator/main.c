/* The simulator: the board's image on a simulated part.
 *
 *   simulator --image board.elf [--lockstep | --speed X] [--port PATH] [--eeprom FILE] [--restart-on-open]
 *
 * Promise: paced (the rule), simulated time follows the wall clock, X times as fast; lockstep, it stands still but for
 * `run MS`. Injections come on standard input, events go to standard output, one a line. The end of standard input ends
 * it, so it outlives nobody. Exit 0; 1 it could not begin; 3 the image stopped the part.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <getopt.h>
#include <poll.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "commands.h"
#include "eeprom.h"
#include "events.h"
#include "machine.h"
#include "port.h"
#include "serial.h"
#include "wiring.h"

#define EXTERNAL_RESET 0x02
#define MAX_LINE 4096
#define MAX_LAG_MS 200.0 /* a busy machine: time stands still rather than run to catch up */

enum { BEGAN_NOT = 1, PART_STOPPED = 3 };

struct options {
    const char *image, *port, *eeprom;
    double speed;
    bool lockstep, restart_on_open;
};

static char input[MAX_LINE];
static size_t input_length;

static double wall_ms(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec * 1e3 + (double)now.tv_nsec / 1e6;
}

/* Take what standard input holds and run the whole lines in it. False at its end. */
static bool take_input(bool lockstep) {
    ssize_t n = read(STDIN_FILENO, input + input_length, sizeof input - input_length);
    if (n == 0 || (n < 0 && errno != EINTR && errno != EAGAIN)) {
        return false;
    }
    input_length += n > 0 ? (size_t)n : 0;
    char *begin = input, *end;
    while ((end = memchr(begin, '\n', input_length - (size_t)(begin - input)))) {
        *end = '\0';
        commands_run(begin, lockstep);
        begin = end + 1;
    }
    input_length -= (size_t)(begin - input);
    memmove(input, begin, input_length);
    return input_length < sizeof input; /* a line without end is no injection */
}

static void run_lockstep(void) {
    do {
        events_flush();
    } while (!machine_stopped() && take_input(true));
}

static void run_paced(const struct options *options) {
    double began_ms = wall_ms();
    uint64_t began_cycle = machine_cycle();
    while (!machine_stopped()) {
        struct pollfd watched = {.fd = STDIN_FILENO, .events = POLLIN};
        poll(&watched, 1, 1);
        if (watched.revents && !take_input(false)) {
            return;
        }
        if (port_poll() && options->restart_on_open) {
            machine_reset(EXTERNAL_RESET);
        }
        double due_ms = (wall_ms() - began_ms) * options->speed;
        double done_ms = (double)(machine_cycle() - began_cycle) / CYCLES_PER_MS;
        if (due_ms - done_ms > MAX_LAG_MS * options->speed) {
            began_ms += (due_ms - done_ms) / options->speed - MAX_LAG_MS;
            due_ms = done_ms + MAX_LAG_MS * options->speed;
        }
        machine_run_until(began_cycle + (uint64_t)(due_ms * CYCLES_PER_MS));
        events_flush();
    }
}

static bool parse(int count, char **words, struct options *options) {
    static const struct option known[] = {
        {"image", required_argument, NULL, 'i'},    {"port", required_argument, NULL, 'p'},
        {"eeprom", required_argument, NULL, 'e'},   {"speed", required_argument, NULL, 's'},
        {"lockstep", no_argument, NULL, 'l'},       {"restart-on-open", no_argument, NULL, 'r'},
        {0},
    };
    int letter;
    options->speed = 1.0;
    while ((letter = getopt_long(count, words, "", known, NULL)) != -1) {
        switch (letter) {
        case 'i': options->image = optarg; break;
        case 'p': options->port = optarg; break;
        case 'e': options->eeprom = optarg; break;
        case 's': options->speed = strtod(optarg, NULL); break;
        case 'l': options->lockstep = true; break;
        case 'r': options->restart_on_open = true; break;
        default: return false;
        }
    }
    return options->image && options->speed > 0.0 && optind == count;
}

int main(int count, char **words) {
    struct options options = {0};
    if (!parse(count, words, &options)) {
        fprintf(stderr, "usage: %s --image ELF [--lockstep | --speed X] [--port PATH] [--eeprom FILE] "
                        "[--restart-on-open]\n", words[0]);
        return BEGAN_NOT;
    }
    signal(SIGPIPE, SIG_IGN);
    events_open();
    if (!machine_load(options.image) || !eeprom_load(options.eeprom) || !port_plug(options.port)) {
        return BEGAN_NOT;
    }
    wiring_start();
    serial_start(options.port != NULL);
    event("ready");
    machine_power_on();
    if (options.lockstep) {
        run_lockstep();
    } else {
        run_paced(&options);
    }
    events_flush();
    port_unplug();
    if (machine_stopped()) {
        return PART_STOPPED;
    }
    return eeprom_save() ? 0 : BEGAN_NOT;
}
