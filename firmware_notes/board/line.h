#ifndef LINE_H
#define LINE_H

#include <stdbool.h>
#include <stdint.h>

void line_start(void);                             /* 115200 baud, 8N1 */
bool line_take(uint8_t *byte);                     /* the next byte received, if there is one */
void line_send(const char *bytes, uint8_t length); /* all of them, or none if they do not fit in the ring */

#endif
