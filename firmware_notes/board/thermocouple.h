#ifndef THERMOCOUPLE_H
#define THERMOCOUPLE_H

#include <stdbool.h>
#include <stdint.h>

void thermocouple_start(void);
uint32_t thermocouple_read(void);            /* the converter's word as it is; FFFFFFFF when none is there */
bool thermocouple_faulty(uint32_t word);     /* fault bits, no answer, or a word that breaks the layout */
int16_t thermocouple_quarter_c(uint32_t word); /* hot junction in quarter degrees C, as the converter reports it */

#endif
