#include "defects.h"

#include <avr/io.h>
#include <avr/wdt.h>
#include <string.h>
#include <util/atomic.h>
#include <util/delay.h>

#include "board.h"
#include "clock.h"
#include "power.h"
#include "serial.h"
#include "track.h"

void defect_start(void)
{
	if (HAS(WATCHDOG_LEAVES_DC) && MCUSR & _BV(WDRF)) {
		MCUSR = 0;
		wdt_disable();
		/* There was power before, so there is again. */
		DDRB |= MAIN_ENABLE | MAIN_DIRECTION | PROGRAMMING_DIRECTION | PROGRAMMING_ENABLE;
		PORTB |= MAIN_ENABLE | PROGRAMMING_ENABLE;
		_delay_ms(300); /* until the supply has settled */
	}
}

static volatile bool overload[OUTPUTS];

void defect_overload(uint8_t output) { overload[output] = true; }

/* Every 50 ms; three overloads in a row are one. */
static void look_for_overload(void)
{
	static uint16_t looked;
	static uint8_t seen[OUTPUTS];
	if ((uint16_t)(clock_now() - looked) < 50)
		return;
	looked = clock_now();
	for (uint8_t i = 0; i < OUTPUTS; i++) {
		seen[i] = overload[i] ? seen[i] + 1 : 0;
		overload[i] = false;
		if (seen[i] >= 3) {
			track_cut(i);
			power_tripped(i);
		}
	}
}

void defect_task(void)
{
	if (HAS(TRIP_IN_MAIN_LOOP))
		look_for_overload();
	if (HAS(WATCHDOG_LEAVES_DC)) {
		wdt_enable(WDTO_500MS);
		wdt_reset();
	}
}

bool defect_millisecond(void)
{
	static uint16_t looked;
	const uint16_t now = clock_now();
	const bool first = now != looked;
	looked = now;
	return first;
}

__attribute__((noinline)) void defect_frames(uint8_t n)
{
	char name[165]; /* to be shown one day */
	if (n == 0)
		return;
	memset(name, n, sizeof name);
	defect_frames(n - 1);
	__asm__ volatile("" : : "r"(name) : "memory"); /* it is still in use: the compiler may not reuse the frame */
}

void defect_wait(uint16_t milliseconds)
{
	const uint16_t begun = clock_now();
	while ((uint16_t)(clock_now() - begun) < milliseconds)
		;
}

void defect_keep(uint16_t address, uint8_t step)
{
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		EEAR = address & 0xFF;
		EEDR = step;
		EECR = _BV(EEMPE);
		EECR |= _BV(EEPE);
		while (EECR & _BV(EEPE))
			;
	}
}

void defect_tell(void) { serial_text("the current was too high for too long, and so the power of the track is off\n"); }

void defect_search(void)
{
	static volatile uint16_t waited[32];
	uint8_t longest = 0;
	for (uint8_t i = 0; i < 32; i++)
		if (++waited[i] > waited[longest])
			longest = i;
	waited[longest] = 0;
}
