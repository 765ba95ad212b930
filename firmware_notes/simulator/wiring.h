#ifndef WIRING_H
#define WIRING_H

#include <stdbool.h>
#include <stdint.h>

/* As in ../board/board.h. */
#define GATE_PIN 2
#define PERMIT_PIN 4
#define CONTACT_PIN 5
#define BUZZER_PIN 6
#define SELECT_PIN 2
#define GAS_CHANNEL 0

enum contact { CONTACT_FOLLOWS, CONTACT_OPEN, CONTACT_CLOSED };

void wiring_start(void);
void wiring_beam(bool dark);                                              /* hold the beam */
bool wiring_drop(double after_ms, double dark_ms, unsigned bounces);      /* false: too many edges wait */
void wiring_contact(enum contact contact);
void wiring_follow(bool permit); /* the relay sees the permit pin */
void wiring_gas(double sum, double noise_counts);
void wiring_tc(uint32_t word);

#endif
