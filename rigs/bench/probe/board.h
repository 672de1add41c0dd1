/* Pins and sizes of the two boards. The wiring is drawn in ../README.md. */
#ifndef BOARD_H
#define BOARD_H

#include <avr/io.h>

#define MAIN 0
#define PROGRAMMING 1 /* identities of tracks in the protocol */

#ifdef __AVR_ATmega2560__

#define TRACKS 2
#define NAME "probe of two tracks"

/* SIGN, by input capture. */
#define SIGN_PIN PINL
#define SIGN0_BIT PL0
#define SIGN1_BIT PL1
/* ABSENT, by external interrupt. */
#define ABSENT_PIN PINE
#define ABSENT0_BIT PE4
#define ABSENT1_BIT PE5

#define LOAD0_PORT PORTA
#define LOAD0_DDR DDRA
#define LOAD1_PORT PORTC
#define LOAD1_DDR DDRC

#define SHORT_PORT PORTG
#define SHORT_DDR DDRG
#define SHORT0_BIT PG0
#define SHORT1_BIT PG1
#define SUPPLY_PORT PORTG
#define SUPPLY_DDR DDRG
#define SUPPLY_BIT PG2

/* A stretch is 18 bytes, and for each track 1 and two for each item, and two for each sample, and a frame has two bytes more. */
#define PAGE 256
#define ITEMS 44
#define SAMPLES_MOST 28
#define SAMPLES_HELD 64 /* a power of two */

#elif defined __AVR_ATmega328P__

#define TRACKS 1
#define NAME "probe of one track"

#define SIGN_PIN PINB
#define SIGN0_BIT PB0
#define SIGN1_BIT 0 /* there is none */
#define ABSENT_PIN PIND
#define ABSENT0_BIT PD2
#define ABSENT1_BIT 0

#define SHORT_PORT PORTB
#define SHORT_DDR DDRB
#define SHORT0_BIT PB1
#define SUPPLY_PORT PORTB
#define SUPPLY_DDR DDRB
#define SUPPLY_BIT PB2

#define PAGE 156
#define ITEMS 40
#define SAMPLES_MOST 26
#define SAMPLES_HELD 32

#else
#error "the firmware is for the ATmega2560 and the ATmega328P"
#endif

#define REFLEXES 12
#define STEPS 16 /* of a profile that can wait, for each track */

#if 20 + TRACKS * (1 + 2 * ITEMS) + 2 * SAMPLES_MOST > PAGE
#error "a stretch does not fit into a page"
#endif

#ifndef BAUD
#define BAUD 2000000UL
#endif

#endif
