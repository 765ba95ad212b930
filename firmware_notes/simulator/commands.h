#ifndef COMMANDS_H
#define COMMANDS_H

#include <stdbool.h>

void commands_run(char *line, bool lockstep); /* one line of standard input, without its newline */

#endif
