#ifndef EEPROM_H
#define EEPROM_H

#include <stdbool.h>

bool eeprom_load(const char *path); /* NULL: an erased part, nothing kept; a file that is not there is made at the end */
bool eeprom_save(void);

#endif
