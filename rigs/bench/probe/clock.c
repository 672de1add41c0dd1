#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"

volatile uint16_t clock_wraps;

/* The timers are set to the same count two instructions of two cycles apart each, so the count they are set to is four more
 * each time. */
void clock_start(void)
{
	TCCR1B = _BV(CS10);
#if TRACKS == 2
	TCCR3B = _BV(CS30);
	TCCR4B = _BV(CS40);
	TCCR5B = _BV(CS50);
	__asm__ volatile("sts %[h1], %[z]\n\t"
			 "sts %[l1], %[z]\n\t"
			 "sts %[h3], %[z]\n\t"
			 "sts %[l3], %[a]\n\t"
			 "sts %[h4], %[z]\n\t"
			 "sts %[l4], %[b]\n\t"
			 "sts %[h5], %[z]\n\t"
			 "sts %[l5], %[c]\n\t"
			 :
			 : [h1] "n"(_SFR_MEM_ADDR(TCNT1H)), [l1] "n"(_SFR_MEM_ADDR(TCNT1L)), [h3] "n"(_SFR_MEM_ADDR(TCNT3H)),
			   [l3] "n"(_SFR_MEM_ADDR(TCNT3L)), [h4] "n"(_SFR_MEM_ADDR(TCNT4H)), [l4] "n"(_SFR_MEM_ADDR(TCNT4L)),
			   [h5] "n"(_SFR_MEM_ADDR(TCNT5H)), [l5] "n"(_SFR_MEM_ADDR(TCNT5L)), [z] "r"((uint8_t)0),
			   [a] "r"((uint8_t)4), [b] "r"((uint8_t)8), [c] "r"((uint8_t)12));
#endif
#ifdef WRAPS
	clock_wraps = WRAPS; /* here, for initialised variables would take the first page of the rings */
#endif
	TIFR1 = _BV(TOV1);
	TIMSK1 = _BV(TOIE1);
}

ISR(TIMER1_OVF_vect) { clock_wraps++; }

uint32_t clock_now_locked(void)
{
	const uint16_t low = TCNT1;
	uint16_t high = clock_wraps;
	if (TIFR1 & _BV(TOV1) && low < 0x8000)
		high++;
	return (uint32_t)high << 16 | low;
}

uint32_t clock_now(void)
{
	uint32_t now;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		now = clock_now_locked();
	}
	return now;
}
