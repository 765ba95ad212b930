#ifndef CLOCK_H
#define CLOCK_H

#include <stdbool.h>
#include <stdint.h>

void clock_start(void);
uint32_t clock_ms(void);      /* milliseconds since the start; wraps after 49.7 days */
uint32_t clock_ms_in_isr(void); /* the same, for code that runs with interrupts off */
bool clock_take_sample(void); /* true once for each SAMPLE_MS gone by */

#endif
