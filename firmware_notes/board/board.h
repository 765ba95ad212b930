/* What is wired where, and the numbers that the protocol fixes.
 *
 * Promise: a pin, a limit or a time stands here once; the other files take it from here.
 * Pins are those of the ATmega328P; the usual hobby boards print D2 beside PD2, D10 beside PB2, A0 beside PC0.
 */
#ifndef BOARD_H
#define BOARD_H

#include <stdint.h>

#define PROTOCOL_VERSION 1
#define FIRMWARE_VERSION 1

#define SAMPLE_MS 100       /* one S frame each */
#define DEAD_MS 20          /* after an accepted drop, further edges are splash */
#define DARK_LIMIT_MS 2000  /* a beam dark for longer is a blocked gate */
#define KEEP_ALIVE_MS 3000  /* without a valid K for so long the permit goes */
#define GAS_READINGS 64     /* in one sample */
#define TRIP_SAMPLES 3      /* in a row */
#define MAX_LINE 120        /* bytes, newline included */

/* Until the host sends an L. 340 degrees C; half of the gas channel's scale, because the zero and the slope of the
 * sensor are known only to the host, and no sensor at rest should stand so high. */
#define TC_TRIP_AT_START 1360   /* quarter degrees C */
#define GAS_TRIP_AT_START 32736 /* sum of 64 readings */
#define TC_TRIP_MAX 8191        /* largest count of the 14-bit signed hot junction */
#define GAS_SUM_MAX 65472       /* 64 x 1023 */

/* Port D */
#define GATE_PIN 2    /* INT0, in, pull-up; high is dark, so that a cut cable reads as a blocked gate */
#define PERMIT_PIN 4  /* out, high energises the relay; a pull-down holds it off while the part is in reset */
#define CONTACT_PIN 5 /* in, pull-up; the auxiliary contact pulls it low when the relay is closed */
#define BUZZER_PIN 6  /* out, high sounds */

/* Port B */
#define SELECT_PIN 2 /* out, low selects the thermocouple converter; must be an output for SPI master in any case */
#define MOSI_PIN 3   /* out, not connected: the converter only talks */
#define MISO_PIN 4   /* in, pull-up, so that an absent converter reads FFFFFFFF */
#define CLOCK_PIN 5  /* out */

/* Port C */
#define GAS_CHANNEL 0 /* PC0, the gas amplifier, 0 to 5 V */

#endif
