/* The board: an ATmega328P at 16 MHz and a driver with two full bridges. The wiring is our own; change it here and in
 * the rig file. Each output has a direction input that a timer drives, an enable input, and a voltage that says how much
 * current flows. */
#ifndef BOARD_H
#define BOARD_H

#include <avr/io.h>
#include <stdint.h>

/* The two outputs, and the channels of the converter that read their currents. */
enum { MAIN, PROGRAMMING, OUTPUTS };

/* Main track: direction on PB1, which is OC1A, enable on PB0, current on ADC0.
 * Programming track: direction on PB3, which is OC2A, enable on PB4, current on ADC1. */
#define MAIN_ENABLE _BV(PB0)
#define MAIN_DIRECTION _BV(PB1)
#define PROGRAMMING_DIRECTION _BV(PB3)
#define PROGRAMMING_ENABLE _BV(PB4)

/* Both timers count half microseconds: 16 MHz divided by 8. */
#define TICKS(microseconds) ((uint8_t)((microseconds) * 2))

/* The sense voltage is 1 V for 1 A and the converter has 1024 steps on 5 V. */
#define COUNTS(milliamperes) ((uint16_t)((uint32_t)(milliamperes) * 1024 / 5000))

/* One output's current is read every 208 us: a conversion takes 13 cycles of 8 us, and the outputs take turns. */
#define READING_US 208UL
#define READINGS(milliseconds) ((uint16_t)((milliseconds) * 1000UL / READING_US))

#endif
