/* What is wired to the part: drop gate, relay contact, gas amplifier, thermocouple converter.
 *
 * Promise: each holds its state over resets of the part, and gives it again to a part that starts. Noise comes from a
 * generator with a fixed seed, so a run can be repeated to the byte.
 */
#include "wiring.h"

#include <math.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_spi.h>
#include <stddef.h>

#include "events.h"
#include "machine.h"

#define BOUNCE_MS 0.6          /* dark, and light, of a bouncing edge */
#define RELAY_MS 12            /* from pin to contact, an ordinary relay */
#define SPARE_ACTIONS 16       /* kept free for the serial line and the relay */
#define FULL_SCALE 1023
#define REFERENCE_MV 5000
#define READINGS 64
#define MISO_IDLE 0xFF         /* the pull-up, when nothing drives the line */

static bool dark, closed;
static enum contact contact = CONTACT_FOLLOWS;
static double gas_counts = 8410.0 / READINGS, gas_noise_counts = 1.2;
static uint32_t tc_word = 0x01601600, tc_latched; /* 22 degrees C, both junctions */
static unsigned tc_sent;                          /* bytes since the converter was selected */
static uint32_t dice = 0x5002BE4C;

/* With a pull-up inside the part, the library lets a low pin read high after any write to its port, unless the level is
 * told as an external one too. INIT makes the same level count as new after a reset. */
static void drive(unsigned pin, bool high) {
    static uint8_t levels;
    levels = (uint8_t)((levels & ~(1u << pin)) | (unsigned)high << pin);
    avr_ioport_external_t external = {.name = 'D', .mask = 1u << GATE_PIN | 1u << CONTACT_PIN, .value = levels};
    avr_ioctl(machine_avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('D'), &external);
    avr_irq_t *irq = avr_io_getirq(machine_avr, AVR_IOCTL_IOPORT_GETIRQ('D'), (int)pin);
    irq->flags |= IRQ_FLAG_INIT;
    avr_raise_irq(irq, high);
}

static void drive_inputs(void) {
    /* The library polls a level-triggered interrupt each cycle for as long as the pin is low, and INT0 is level-triggered
     * until the image sets it up. */
    avr_extint_set_strict_lvl_trig(machine_avr, 0, 0);
    drive(GATE_PIN, dark);
    drive(CONTACT_PIN, !closed);
    tc_sent = 0;
}

void wiring_beam(bool now_dark) {
    dark = now_dark;
    if (machine_powered()) {
        drive(GATE_PIN, dark);
    }
}

static void beam_edge(uint32_t now_dark) {
    wiring_beam(now_dark);
}

bool wiring_drop(double after_ms, double dark_ms, unsigned bounces) {
    uint64_t at = machine_cycle() + (uint64_t)(after_ms * CYCLES_PER_MS);
    if (machine_room() < 2 * ((int)bounces + 1) + SPARE_ACTIONS) {
        return false;
    }
    for (unsigned i = 0; i <= bounces; i++) {
        machine_at(at, beam_edge, 1);
        at += (uint64_t)((i < bounces ? BOUNCE_MS : dark_ms) * CYCLES_PER_MS);
        machine_at(at, beam_edge, 0);
        at += (uint64_t)(BOUNCE_MS * CYCLES_PER_MS);
    }
    return true;
}

static void settle_contact(uint32_t now_closed) {
    if (contact == CONTACT_FOLLOWS) {
        closed = now_closed;
    } else {
        closed = contact == CONTACT_CLOSED;
    }
    if (machine_powered()) {
        drive(CONTACT_PIN, !closed);
    }
}

void wiring_follow(bool permit) {
    machine_at(machine_cycle() + (uint64_t)RELAY_MS * CYCLES_PER_MS, settle_contact, permit);
}

void wiring_contact(enum contact now) {
    contact = now;
    settle_contact(events_permit());
}

void wiring_gas(double sum, double noise_counts) {
    gas_counts = sum / READINGS;
    gas_noise_counts = noise_counts;
}

void wiring_tc(uint32_t word) {
    tc_word = word;
}

static double uniform(void) { /* -0.5 to 0.5 */
    dice ^= dice << 13;
    dice ^= dice >> 17;
    dice ^= dice << 5;
    return dice / 4294967296.0 - 0.5;
}

/* A reading begins. Three uniforms summed have variance 1/4: twice that has the standard deviation asked for. */
static void give_reading(avr_irq_t *irq, uint32_t value, void *parameter) {
    (void)irq;
    (void)value;
    (void)parameter;
    double counts = gas_counts + 2.0 * gas_noise_counts * (uniform() + uniform() + uniform());
    double whole = fmin(fmax(floor(counts + 0.5), 0.0), FULL_SCALE);
    uint32_t mv = (uint32_t)ceil(whole * REFERENCE_MV / FULL_SCALE); /* the library rounds down to these counts again */
    avr_raise_irq(avr_io_getirq(machine_avr, AVR_IOCTL_ADC_GETIRQ, GAS_CHANNEL), mv);
}

static bool converter_selected(void) {
    avr_ioport_state_t port = {0};
    avr_ioctl(machine_avr, AVR_IOCTL_IOPORT_GETSTATE('B'), &port);
    return (port.ddr >> SELECT_PIN & 1) && !(port.port >> SELECT_PIN & 1);
}

static void select_changes(avr_irq_t *irq, uint32_t high, void *parameter) {
    (void)irq;
    (void)parameter;
    if (!high) {
        tc_latched = tc_word;
        tc_sent = 0;
    }
}

/* The part has clocked a byte out and takes this one in. */
static void give_byte(avr_irq_t *irq, uint32_t value, void *parameter) {
    (void)irq;
    (void)value;
    (void)parameter;
    uint8_t byte = MISO_IDLE;
    if (converter_selected() && tc_sent < sizeof tc_latched) {
        byte = (uint8_t)(tc_latched >> (24 - 8 * tc_sent++));
    }
    avr_raise_irq(avr_io_getirq(machine_avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_INPUT), byte);
}

static void pin_changes(avr_irq_t *irq, uint32_t value, void *parameter) {
    (void)irq;
    (void)value;
    (void)parameter;
    events_watch_pins();
}

void wiring_start(void) {
    avr_irq_register_notify(avr_io_getirq(machine_avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), give_reading, NULL);
    avr_irq_register_notify(avr_io_getirq(machine_avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_OUTPUT), give_byte, NULL);
    avr_irq_register_notify(avr_io_getirq(machine_avr, AVR_IOCTL_IOPORT_GETIRQ('B'), SELECT_PIN), select_changes, NULL);
    avr_irq_register_notify(avr_io_getirq(machine_avr, AVR_IOCTL_IOPORT_GETIRQ('D'), PERMIT_PIN), pin_changes, NULL);
    avr_irq_register_notify(avr_io_getirq(machine_avr, AVR_IOCTL_IOPORT_GETIRQ('D'), BUZZER_PIN), pin_changes, NULL);
    machine_on_start(drive_inputs);
}
