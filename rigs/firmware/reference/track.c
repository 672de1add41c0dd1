#include "track.h"

#include <avr/interrupt.h>
#include <string.h>
#include <util/atomic.h>

#include "acknowledge.h"
#include "defects.h"

/* Half-bits, S-9.1 A (2020): 58 us for a one, at least 100 us for a zero. Ones before a packet: at least 14, S-9.2 A (July
 * 2004), on the main track and 20 in service mode, S-9.2.3 E (July 2012); a few more cost little. */
#define HALF_ONE (TICKS(58) - 1)
#define HALF_ZERO (TICKS(100) - 1)
static const uint8_t preamble[OUTPUTS] = {16, 22};

/* A generator says one bit after the other. Its timer turns the direction pin over at every match by itself, so that an
 * interrupt that comes late moves no edge: it only has to set the length of the half-bit that has begun. */
typedef struct {
	volatile bool powered; /* the bridge is enabled */
	volatile bool ending;  /* power off a bit after the end of the packet */
	volatile bool waiting; /* next is full */
	bool second;           /* the half-bit on its way is the second of its bit */
	uint8_t half;          /* its length */
	uint8_t ones;          /* of the preamble, still to say */
	uint8_t byte, mask;    /* place in the packet; mask 0 is the bit before a byte */
	bool busy;             /* a packet is on its way */
	packet_t now, next;
} generator_t;

static generator_t generator[OUTPUTS];

static inline __attribute__((always_inline)) void enable(uint8_t output, bool on)
{
	const uint8_t pin = output == MAIN ? MAIN_ENABLE : PROGRAMMING_ENABLE;
	if (on)
		PORTB |= pin;
	else
		PORTB &= ~pin;
}

/* To the beginning of a preamble. */
static inline __attribute__((always_inline)) void rewind_to_preamble(generator_t *g, uint8_t output)
{
	g->busy = g->waiting = false;
	g->ones = preamble[output];
}

/* The next bit of the output; called at the boundary between two bits. */
static inline __attribute__((always_inline)) bool next_bit(generator_t *g, uint8_t output)
{
	if (!g->busy) {
		if (g->ones > 0) {
			g->ones--;
			return true;
		}
		if (!g->waiting)
			return true;
		g->now = g->next;
		g->waiting = false;
		g->busy = true;
		g->byte = 0;
		g->mask = 0x80;
		if (output == PROGRAMMING)
			acknowledge_cue(g->now.cue);
		return false; /* the packet start bit */
	}
	if (g->mask == 0) {
		if (++g->byte == g->now.length) {
			g->busy = false;
			g->ones = preamble[output];
			if (output == PROGRAMMING && g->waiting) {
				acknowledge_cue(g->next.cue);
				g->next.cue = NO_CUE;
			}
			return true; /* the packet end bit */
		}
		g->mask = 0x80;
		return false; /* the data byte start bit */
	}
	bool bit = g->now.bytes[g->byte] & g->mask;
	g->mask >>= 1;
	return bit;
}

static inline __attribute__((always_inline)) uint8_t half_bit(uint8_t output)
{
	generator_t *g = &generator[output];
	if (!g->second) {
		g->second = true;
		return g->half;
	}
	g->second = false;
	/* Off after the end bit and one bit more: the signal has to go on for 26 us after it, S-9.2 A, footnote 3 (July 2004). */
	if (g->ending && !g->busy && g->ones < preamble[output]) {
		enable(output, false);
		g->powered = g->ending = false;
		rewind_to_preamble(g, output);
	}
	if (!g->powered)
		return g->half = HALF_ONE;
	return g->half = next_bit(g, output) ? HALF_ONE : HALF_ZERO;
}

ISR(TIMER1_COMPA_vect)
{
	if (HAS(LONG_RECEIVE_INTERRUPT)) /* which delays it, and nothing else turns the pin over */
		PINB = MAIN_DIRECTION;
	OCR1A = half_bit(MAIN);
}
ISR(TIMER2_COMPA_vect) { OCR2A = half_bit(PROGRAMMING); }

void track_start(void)
{
	DDRB |= MAIN_ENABLE | MAIN_DIRECTION | PROGRAMMING_DIRECTION | PROGRAMMING_ENABLE;
	generator[MAIN].half = generator[PROGRAMMING].half = HALF_ONE;
	rewind_to_preamble(&generator[MAIN], MAIN);
	rewind_to_preamble(&generator[PROGRAMMING], PROGRAMMING);
	/* Clear on match, the pin turned over on match, clock divided by 8. */
	OCR1A = HALF_ONE;
	TCCR1A = HAS(LONG_RECEIVE_INTERRUPT) ? 0 : _BV(COM1A0);
	TCCR1B = _BV(WGM12) | _BV(CS11);
	TIMSK1 = _BV(OCIE1A);
	OCR2A = HALF_ONE;
	TCCR2A = _BV(COM2A0) | _BV(WGM21);
	TCCR2B = _BV(CS21);
	TIMSK2 = _BV(OCIE2A);
}

/* The first half-bit begins with the power: the timer starts again at the same instant. */
void track_on(uint8_t output)
{
	generator_t *g = &generator[output];
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		g->ending = false;
		if (!g->powered) {
			g->powered = true;
			g->second = false;
			g->half = HALF_ONE;
			if (output == MAIN) {
				TCNT1 = 0;
				OCR1A = HALF_ONE;
				TIFR1 = _BV(OCF1A);
			} else {
				TCNT2 = 0;
				OCR2A = HALF_ONE;
				TIFR2 = _BV(OCF2A);
			}
			enable(output, true);
		}
	}
}

void track_off(uint8_t output)
{
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		generator[output].ending = generator[output].powered;
	}
}

void track_cut(uint8_t output)
{
	generator_t *g = &generator[output];
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		enable(output, false);
		g->powered = g->ending = false;
		if (!HAS(RESUMES_IN_PACKET))
			rewind_to_preamble(g, output);
	}
}

bool track_powered(uint8_t output) { return generator[output].powered; }

bool track_wants(uint8_t output)
{
	const generator_t *g = &generator[output];
	if (HAS(TORN_PACKET) && output == MAIN && (!defect_millisecond() || g->busy || g->ones > 0))
		return false;
	return g->powered && !g->ending && !g->waiting;
}

void track_send(uint8_t output, const packet_t *p)
{
	generator_t *g = &generator[output];
	if (HAS(TORN_PACKET))
		g->waiting = g->powered;
	memcpy(&g->next, p, sizeof *p);
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		g->waiting = g->powered;
	}
}
