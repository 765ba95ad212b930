#ifndef START_H
#define START_H

#include <stdint.h>

#define RESET_BY_WATCHDOG 0x08

uint8_t start_reset_cause(void); /* bits of the reset register: 1 power-on, 2 external, 4 brown-out, 8 watchdog */
void start_count_boot(void);     /* count this start in EEPROM; takes up to 7 ms */
uint16_t start_boot(void);       /* the number of this start */

#endif
