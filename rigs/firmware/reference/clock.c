#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

static volatile uint16_t milliseconds;

/* 16 MHz / 64 / 250 = 1 kHz */
void clock_start(void)
{
	OCR0A = 249;
	TCCR0A = _BV(WGM01);
	TCCR0B = _BV(CS01) | _BV(CS00);
	TIMSK0 = _BV(OCIE0A);
}

ISR(TIMER0_COMPA_vect) { milliseconds++; }

uint16_t clock_now(void)
{
	uint16_t now;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		now = milliseconds;
	}
	return now;
}
