#ifndef PERMIT_H
#define PERMIT_H

#include <stdbool.h>
#include <stdint.h>

/* Bits of the io field of an S frame. */
enum {
    IO_PERMIT = 0x01,
    IO_CONTACT = 0x02,
    IO_BUZZER = 0x04,
    IO_KEPT_ALIVE = 0x08,
    IO_TRIP_HEAT = 0x10,
    IO_TRIP_GAS = 0x20,
    IO_GATE_DARK = 0x40,
    IO_WATCHDOG = 0x80,
};

void permit_start(void); /* permit off, before anything else is done */
void permit_keep_alive(uint32_t now_ms, bool permit, bool buzzer);
bool permit_set_trips(uint16_t tc_trip, uint16_t gas_trip); /* false: beyond the scale, the old limits remain */
bool permit_clear_trips(void);                              /* false: a cause still stands */
void permit_judge(uint32_t tc_word, uint16_t gas_sum);      /* once a sample */
void permit_watch(uint32_t now_ms);                         /* as often as the loop turns */
uint8_t permit_io(void);                                    /* the io bits that stand here */

#endif
