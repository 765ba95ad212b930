/* The part and its time.
 *
 * Promise: simulated time goes forward only, over resets and with the supply off, and the same calls in the same order
 * give the same cycles. Everything that happens from outside happens at a cycle of this file's own queue, because a
 * reset wipes the library's timers.
 */
#include "machine.h"

#include <simavr/avr_ioport.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <string.h>

#include "events.h"

#define PART "atmega328p"
#define HZ 16000000u
#define SUPPLY_MV 5000u
#define MAX_ACTIONS 1024
#define MAX_HOOKS 8
#define LOOP_FOR_EVER 0xCFFFu /* rjmp to itself: the C library's end of program holds one */
#define FIRST_RAM 0x100u
#define DATA_SEGMENT 0x800000u
#define MCUSR_ADDRESS 0x54u

avr_t *machine_avr;

static elf_firmware_t firmware;
static uint64_t base_cycle; /* what to add to the part's own count, which some resets set back */
static uint64_t newest_cycle;
static bool powered, was_reset, stopped;
static void (*hooks[MAX_HOOKS])(void);
static int hook_count;
static void (*library_reset)(avr_t *);

static struct {
    uint64_t cycle;
    machine_action action;
    uint32_t argument;
} actions[MAX_ACTIONS]; /* the soonest last; those of the same cycle in the order in which they were set */
static int action_count;

static void note_reset(avr_t *avr) {
    if (library_reset) {
        library_reset(avr);
    }
    was_reset = true;
}

static void sleep_not(avr_t *avr, avr_cycle_count_t cycles) {
    (void)avr;
    (void)cycles; /* the library would sleep on the wall clock here; pacing is the main loop's work */
}

static void log_errors(avr_t *avr, const int level, const char *format, va_list arguments) {
    (void)avr;
    if (level <= LOG_ERROR) {
        vfprintf(stderr, format, arguments);
    }
}

bool machine_load(const char *image) {
    avr_global_logger_set(log_errors);
    if (elf_read_firmware(image, &firmware) != 0) {
        fprintf(stderr, "simulator: cannot read the image %s\n", image);
        return false;
    }
    firmware.frequency = HZ;
    firmware.vcc = firmware.avcc = firmware.aref = SUPPLY_MV;
    machine_avr = avr_make_mcu_by_name(PART);
    if (!machine_avr) {
        fprintf(stderr, "simulator: the library does not know the part %s\n", PART);
        return false;
    }
    avr_init(machine_avr);
    avr_load_firmware(machine_avr, &firmware);
    machine_avr->sleep = sleep_not;
    library_reset = machine_avr->reset;
    machine_avr->reset = note_reset;
    return true;
}

void machine_on_start(void (*hook)(void)) {
    hooks[hook_count++] = hook;
}

static void after_reset(void) {
    was_reset = false;
    for (int i = 0; i < hook_count; i++) {
        hooks[i]();
    }
    event("reset %02X", machine_avr->data[MCUSR_ADDRESS]);
}

uint64_t machine_cycle(void) {
    uint64_t now = base_cycle + machine_avr->cycle;
    return !powered || was_reset || now < newest_cycle ? newest_cycle : now;
}

uint64_t machine_us(void) {
    return machine_cycle() / CYCLES_PER_US;
}

/* Keep our own time over whatever a reset did to the part's. */
static void rebase(void) {
    base_cycle = newest_cycle - machine_avr->cycle;
}

void machine_reset(uint8_t cause) {
    if (!powered) {
        return;
    }
    avr_reset(machine_avr);
    rebase();
    machine_avr->data[MCUSR_ADDRESS] |= cause;
    after_reset();
}

void machine_power_on(void) {
    if (powered) {
        return;
    }
    powered = true;
    for (uint32_t i = FIRST_RAM; i <= machine_avr->ramend; i++) {
        machine_avr->data[i] = (uint8_t)(i * 37 + 11); /* memory holds anything but zeros when the supply comes */
    }
    machine_reset(0x01);
}

void machine_power_off(void) {
    powered = false;
}

bool machine_powered(void) {
    return powered;
}

bool machine_stopped(void) {
    return stopped;
}

static avr_cycle_count_t wake(avr_t *avr, avr_cycle_count_t when, void *parameter) {
    (void)avr;
    (void)when;
    (void)parameter;
    return 0; /* there only so that a sleeping part does not sleep past the next action */
}

static void run_part_until(uint64_t cycle) {
    bool armed = false;
    while (powered && !stopped && newest_cycle < cycle) {
        if (!armed) {
            avr_cycle_timer_register(machine_avr, cycle - newest_cycle, wake, NULL);
            armed = true;
        }
        uint64_t before = machine_avr->cycle;
        int state = avr_run(machine_avr);
        if (machine_avr->cycle < before || was_reset) {
            rebase();
        }
        newest_cycle = base_cycle + machine_avr->cycle;
        if (was_reset) {
            after_reset();
            armed = false;
        }
        if (state == cpu_Done || state == cpu_Crashed) {
            stopped = true;
            event("stopped %s", state == cpu_Done ? "asleep with interrupts off" : "crashed");
        }
        events_watch_pins();
    }
    if (!powered && newest_cycle < cycle) {
        newest_cycle = cycle;
        rebase();
    }
}

void machine_run_until(uint64_t cycle) {
    while (!stopped && newest_cycle < cycle) {
        uint64_t next = cycle;
        if (action_count && actions[action_count - 1].cycle < next) {
            next = actions[action_count - 1].cycle;
        }
        run_part_until(next);
        while (!stopped && action_count && actions[action_count - 1].cycle <= newest_cycle) {
            action_count--;
            actions[action_count].action(actions[action_count].argument);
        }
    }
}

int machine_room(void) {
    return MAX_ACTIONS - action_count;
}

void machine_at(uint64_t cycle, machine_action action, uint32_t argument) {
    if (machine_room() == 0) {
        event("error too many actions wait; one was left out");
        return;
    }
    int i = action_count++;
    for (; i > 0 && actions[i - 1].cycle <= cycle; i--) {
        actions[i] = actions[i - 1];
    }
    actions[i].cycle = cycle;
    actions[i].action = action;
    actions[i].argument = argument;
}

bool machine_hang(void) {
    uint32_t at = 0;
    while (at < firmware.flashsize && (machine_avr->flash[at] | machine_avr->flash[at + 1] << 8) != LOOP_FOR_EVER) {
        at += 2;
    }
    if (!powered || at >= firmware.flashsize) {
        return false;
    }
    /* Only in the main loop are interrupts on; an interrupt's own stack must not be torn. */
    while (!stopped && !machine_avr->sreg[S_I]) {
        run_part_until(newest_cycle + 1);
    }
    machine_avr->state = cpu_Running;
    machine_avr->pc = at;
    return !stopped;
}

uint8_t machine_outputs(char port) {
    avr_ioport_state_t state = {0};
    if (powered && !stopped) {
        avr_ioctl(machine_avr, AVR_IOCTL_IOPORT_GETSTATE(port), &state);
    }
    return state.ddr & state.port;
}

bool machine_peek(const char *symbol, uint16_t count, uint8_t *bytes) {
    for (uint32_t i = 0; i < firmware.symbolcount; i++) {
        const avr_symbol_t *found = firmware.symbol[i];
        if (strcmp(found->symbol, symbol) == 0 && found->addr >= DATA_SEGMENT) {
            uint32_t first = found->addr - DATA_SEGMENT;
            if (first + count > machine_avr->ramend + 1u) {
                return false;
            }
            memcpy(bytes, machine_avr->data + first, count);
            return true;
        }
    }
    return false;
}
