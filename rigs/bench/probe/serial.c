#include "serial.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"
#include "characters.h"
#include "clock.h"

/* Shared with characters.S. */
volatile uint8_t serial_tail;
volatile uint8_t serial_ends, serial_full, serial_faults;
volatile struct {
	uint16_t low;
	uint8_t high, flags;
} serial_end[8];

static uint8_t taken_ends;

uint8_t serial_ring[256] __attribute__((aligned(256)));

static uint8_t received(void)
{
	uint8_t i;
	__asm__ volatile("mov %0, r7" : "=r"(i));
	return i;
}

/* Double speed, so that 2 Mbaud is a divisor of 1: data sheet of the ATmega328P, "Examples of Baud Rate Setting". */
void serial_start(void)
{
	__asm__ volatile("mov r7, %0" : : "r"((uint8_t)0));
	UBRR0 = F_CPU / 8 / BAUD - 1;
	UCSR0A = _BV(U2X0);
	UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
	UCSR0B = CHARACTERS_IN;
}

uint8_t serial_look(const uint8_t **first, uint8_t most)
{
	const uint8_t tail = serial_tail;
	const uint8_t n = received() - tail, to_end = -tail; /* 0 for all 256 */
	*first = serial_ring + tail;
	if (most > n)
		most = n;
	return to_end && most > to_end ? to_end : most;
}

uint8_t serial_waiting(void) { return received() - serial_tail; }

void serial_take(uint8_t n, uint8_t ends)
{
	taken_ends += ends;
	serial_tail += n;
}

bool serial_end_time(uint32_t *tick)
{
	bool known = false;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		if ((uint8_t)(serial_ends - taken_ends) < 8) {
			const uint8_t i = taken_ends & 7;
			const uint16_t low = serial_end[i].low;
			uint8_t high = serial_end[i].high;
			if (serial_end[i].flags & _BV(TOV1) && low < 0x8000)
				high++;
			/* The wraps since: 256 of them are a second, and no frame waits that long. */
			const uint32_t now = clock_now_locked();
			*tick = (now & 0xFF000000UL) | (uint32_t)high << 16 | low;
			if (*tick > now)
				*tick -= 0x1000000UL;
			known = true;
		}
	}
	return known;
}

uint8_t serial_lost(void)
{
	uint8_t n;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		n = serial_faults + serial_full;
		serial_faults = serial_full = 0;
	}
	return n;
}
