#ifndef GATE_H
#define GATE_H

#include <stdbool.h>
#include <stdint.h>

struct gate_count {
    uint32_t now_ms;  /* when the count was read */
    uint32_t drops;   /* accepted since the start */
    uint32_t drop_ms; /* of the newest accepted drop; 0 while there is none */
    uint16_t rejects; /* edges within the dead time since the start; wraps */
    bool dark;        /* beam dark for over DARK_LIMIT_MS */
};

void gate_start(void);
void gate_tick(void); /* each millisecond, from the clock's interrupt */
struct gate_count gate_read(void);

#endif
