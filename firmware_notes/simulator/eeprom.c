/* The part's EEPROM in a file, so that boot numbers go on from one run of the simulator to the next.
 *
 * Promise: the file is replaced whole or not at all. Without a file the EEPROM lives as long as the simulator, over every
 * reset and power cycle.
 */
#include "eeprom.h"

#include <errno.h>
#include <simavr/avr_eeprom.h>
#include <stdio.h>
#include <string.h>

#include "machine.h"

#define MAX_PATH 512

static char file[MAX_PATH];
static uint8_t bytes[1024];

static avr_eeprom_desc_t whole = {.ee = bytes, .offset = 0, .size = sizeof bytes};

static bool refuse(void) {
    fprintf(stderr, "simulator: EEPROM file %s: %s\n", file, errno ? strerror(errno) : "1024 bytes wanted");
    return false;
}

bool eeprom_load(const char *path) {
    if (!path) {
        return true;
    }
    snprintf(file, sizeof file, "%s", path);
    errno = 0;
    FILE *in = fopen(file, "rb");
    if (!in) {
        return errno == ENOENT || refuse();
    }
    size_t read = fread(bytes, 1, sizeof bytes, in);
    fclose(in);
    if (read != sizeof bytes) {
        return refuse();
    }
    avr_ioctl(machine_avr, AVR_IOCTL_EEPROM_SET, &whole);
    return true;
}

bool eeprom_save(void) {
    if (file[0] == '\0') {
        return true;
    }
    char beside[MAX_PATH + 8];
    snprintf(beside, sizeof beside, "%s.new", file);
    errno = 0;
    avr_ioctl(machine_avr, AVR_IOCTL_EEPROM_GET, &whole);
    FILE *to = fopen(beside, "wb");
    if (!to || fwrite(whole.ee, 1, sizeof bytes, to) != sizeof bytes || fclose(to) != 0 || rename(beside, file) != 0) {
        return refuse();
    }
    return true;
}
