#ifndef GAS_H
#define GAS_H

#include <stdbool.h>
#include <stdint.h>

struct gas_reading {
    uint16_t sum;  /* of 64 readings: 0 to 65472 */
    uint16_t span; /* largest minus smallest of them: 0 to 1023 */
    bool whole;    /* there were 64; if not, the converter has stopped */
};

void gas_start(void);
void gas_tick(void);  /* each millisecond, from the clock's interrupt: begins a reading on 64 ticks of 100 */
void gas_close(void); /* at the end of a sample, from the clock's interrupt, before the tick that begins the next */
struct gas_reading gas_read(void);

#endif
