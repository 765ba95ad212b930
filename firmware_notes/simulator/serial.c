/* The serial line between the part and the host, byte by byte at 115200 baud.
 *
 * Promise: the host's bytes arrive no faster than the line carries them, and a part that leaves more than two unread
 * loses the next, as a real one does, though the library would hold 64.
 */
#include "serial.h"

#include <simavr/avr_uart.h>
#include <stdio.h>
#include <string.h>

#include "events.h"
#include "machine.h"
#include "port.h"

#define BITS_PER_BYTE 10
#define CYCLES_PER_BYTE 1389 /* ten bits at 115200 baud and 16 MHz: the host's side of the line */
#define UCSR0A_ADDRESS 0xC0
#define UBRR0L_ADDRESS 0xC4
#define U2X0_MASK 0x02
#define WAITING 8192
#define REAL_FIFO 2
#define MAX_TX_EVENT 128

static avr_uart_t *uart;
static avr_irq_t *input;
static bool port_used;
static uint8_t waiting[WAITING];
static size_t waiting_first, waiting_count;
static bool feeding;
static unsigned garble_to_host, garble_to_board;
static uint32_t dice = 0x71C3A59D;
static uint8_t line[MAX_TX_EVENT];
static size_t line_length;

/* The library counts a parity bit that is not sent, and so makes the part a tenth slower than its divisor says. */
static void count_ten_bits(void) {
    unsigned divisor = machine_avr->data[UBRR0L_ADDRESS] + 1u;
    unsigned samples = machine_avr->data[UCSR0A_ADDRESS] & U2X0_MASK ? 8 : 16;
    uart->cycles_per_byte = BITS_PER_BYTE * samples * divisor;
}

static uint8_t garbled(uint8_t byte, unsigned *left) {
    if (*left == 0) {
        return byte;
    }
    (*left)--;
    dice = dice * 1664525u + 1013904223u;
    return byte ^ (uint8_t)(1u << (dice >> 29));
}

static void feed(uint32_t unused) {
    (void)unused;
    if (waiting_count == 0) {
        feeding = false;
        return;
    }
    uint8_t byte = garbled(waiting[waiting_first], &garble_to_board);
    waiting_first = (waiting_first + 1) % WAITING;
    waiting_count--;
    unsigned unread = (unsigned)(uart->input.write - uart->input.read) % uart_fifo_fifo_size;
    if (!machine_powered()) {
        /* nobody listens */
    } else if (unread > REAL_FIFO) {
        event("overrun");
    } else {
        count_ten_bits();
        avr_raise_irq(input, byte);
    }
    machine_at(machine_cycle() + CYCLES_PER_BYTE, feed, 0);
}

size_t serial_room(void) {
    return WAITING - waiting_count;
}

void serial_from_host(const uint8_t *bytes, size_t count) {
    for (size_t i = 0; i < count; i++) {
        waiting[(waiting_first + waiting_count++) % WAITING] = bytes[i];
    }
    if (!feeding && count > 0) {
        feeding = true;
        machine_at(machine_cycle() + CYCLES_PER_BYTE, feed, 0);
    }
}

void serial_forget(void) {
    waiting_count = 0;
}

static void tell_line(void) {
    char digits[2 * MAX_TX_EVENT + 1];
    for (size_t i = 0; i < line_length; i++) {
        snprintf(digits + 2 * i, 3, "%02X", line[i]);
    }
    event("tx %s", digits);
    line_length = 0;
}

static void take_byte(avr_irq_t *irq, uint32_t value, void *parameter) {
    (void)irq;
    (void)parameter;
    count_ten_bits();
    uint8_t byte = garbled((uint8_t)value, &garble_to_host);
    if (port_used) {
        port_put(byte);
        return;
    }
    line[line_length++] = byte;
    if (byte == '\n' || line_length == MAX_TX_EVENT) {
        tell_line();
    }
}

void serial_garble_to_host(unsigned bytes) {
    garble_to_host = bytes;
}

void serial_garble_to_board(unsigned bytes) {
    garble_to_board = bytes;
}

void serial_start(bool to_port) {
    port_used = to_port;
    for (avr_io_t *io = machine_avr->io_port; io; io = io->next) {
        if (strcmp(io->kind, "uart") == 0) {
            uart = (avr_uart_t *)io;
        }
    }
    uart->flags = 0; /* neither doze when the image polls nor print what it sends */
    input = avr_io_getirq(machine_avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(machine_avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), take_byte, NULL);
}
