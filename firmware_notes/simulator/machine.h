#ifndef MACHINE_H
#define MACHINE_H

#include <simavr/sim_avr.h>
#include <stdbool.h>
#include <stdint.h>

#define CYCLES_PER_US 16
#define CYCLES_PER_MS 16000

typedef void (*machine_action)(uint32_t argument);

/* The part, for the files that wire something to it. Not to be touched after machine_stopped(). */
extern avr_t *machine_avr;

bool machine_load(const char *image);              /* false: said why on standard error */
void machine_on_start(void (*hook)(void));         /* called after each reset: put the levels back on the pins */
void machine_power_on(void);
void machine_power_off(void);
bool machine_powered(void);
void machine_reset(uint8_t cause);                 /* bits of the reset register */
bool machine_hang(void);                           /* make the main loop stand still, interrupts on */
bool machine_stopped(void);                        /* the part cannot go on: the image slept with interrupts off */

uint64_t machine_cycle(void);                      /* since the simulator began; goes on over resets */
uint64_t machine_us(void);
void machine_run_until(uint64_t cycle);
void machine_at(uint64_t cycle, machine_action action, uint32_t argument);
int machine_room(void);                            /* how many more actions may wait */

uint8_t machine_outputs(char port);                /* pins that the part itself drives high */
bool machine_peek(const char *symbol, uint16_t count, uint8_t *bytes);

#endif
