/* The time: 16 MHz of timer 1, its wraps counted. All 16-bit timers of the board show the same count at any time. */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdint.h>

#define TICKS_PER_MICROSECOND 16UL
#define TICKS_PER_MILLISECOND 16000UL

void clock_start(void);
uint32_t clock_now(void);
/* For callers that have interrupts off. */
uint32_t clock_now_locked(void);
extern volatile uint16_t clock_wraps;

#endif
