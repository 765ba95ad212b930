/* The serial line: bytes in, bytes out, by interrupts and two rings.
 *
 * Promise: the part holds two received bytes and no more, so the receive interrupt does nothing but store; no other
 * interrupt of this firmware lasts two byte times (170 us). A full receive ring loses the newest byte, which the line's
 * CRC then shows. A full send ring loses a whole frame, which the host sees as a gap in seq; never a part of one.
 */
#include "line.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#define RING 256 /* so that a uint8_t index wraps by itself */
#define BAUD_DIVISOR 16 /* with double speed: 117647 baud, 2.1 % over 115200, which the usual serial chips bear */

static volatile uint8_t received[RING];
static volatile uint8_t received_head, received_tail; /* the interrupt moves the head, the loop the tail */
static volatile uint8_t sending[RING];
static volatile uint8_t sending_head, sending_tail; /* the loop moves the head, the interrupt the tail */

void line_start(void) {
    UCSR0A = _BV(U2X0);
    UBRR0 = BAUD_DIVISOR;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

ISR(USART_RX_vect) {
    uint8_t byte = UDR0;
    uint8_t next = received_head + 1;
    if (next != received_tail) {
        received[received_head] = byte;
        received_head = next;
    }
}

ISR(USART_UDRE_vect) {
    if (sending_head == sending_tail) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
        return;
    }
    UDR0 = sending[sending_tail];
    sending_tail++;
}

bool line_take(uint8_t *byte) {
    if (received_head == received_tail) {
        return false;
    }
    *byte = received[received_tail];
    received_tail++;
    return true;
}

void line_send(const char *bytes, uint8_t length) {
    uint8_t free = (uint8_t)(sending_tail - sending_head - 1);
    if (length > free) {
        return;
    }
    uint8_t head = sending_head;
    for (uint8_t i = 0; i < length; i++) {
        sending[head++] = (uint8_t)bytes[i];
    }
    sending_head = head;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        UCSR0B |= _BV(UDRIE0); /* the interrupt clears this bit of the same register */
    }
}
