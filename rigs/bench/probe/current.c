#include "current.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"
#include "clock.h"
#include "stretch.h"

/* Reference is the supply of 5 V. */
#define CHANNEL(i) (_BV(REFS0) | (i))
/* The timer sets itself for the next conversion when that is nearer than this; else current_task does, in time. */
#define NEAR 60000UL

/* Shared with conversions.S. */
volatile uint8_t current_mux;    /* the channel that is converted next */
volatile uint8_t current_control; /* how the converter was before the last start */
volatile uint16_t current_result;
volatile uint16_t current_step;  /* ticks from one conversion to the next, if the timer can reach as far; else 0 */

static uint16_t held[SAMPLES_HELD];
static volatile uint8_t head, tail; /* they count on; SAMPLES_HELD divides 256 */
static volatile bool lost, running;
static volatile bool converting; /* and nobody has taken the result */
static uint8_t tail_channel;
static uint32_t spacing;         /* ticks from one conversion to the next */
static uint32_t tail_time;       /* when the sample at tail was or will be taken */
static uint16_t delay;           /* ticks from the start of a conversion to the sample */
static volatile uint32_t next;   /* when the next conversion starts, if the timer is not set to it */
static volatile bool armed;

void current_prepare(void)
{
	ADMUX = CHANNEL(0);
	DIDR0 = _BV(ADC0D) | (TRACKS == 2 ? _BV(ADC1D) : 0);
	/* The first conversion takes longer: it is nobody's. */
	ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
}

/* With interrupts off. */
static void set_timer(uint16_t at)
{
	OCR1B = at;
	TIFR1 = _BV(OCF1B);
	TIMSK1 |= _BV(OCIE1B);
	armed = true;
}

void current_stop(void)
{
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		TIMSK1 &= ~_BV(OCIE1B);
		running = armed = converting = false;
	}
	while (ADCSRA & _BV(ADSC)) /* at most a tenth of a millisecond */
		;
}

void current_start(uint16_t interval, uint32_t from)
{
	if (!interval)
		return;
	spacing = interval * TICKS_PER_MICROSECOND / TRACKS;
	/* A conversion takes 13 clocks of the converter, and at most one until it starts; up to 200 kHz all ten bits count:
	 * data sheet of the ATmega2560, "ADC Characteristics". A faster one only for who asks for samples that fast. */
	const uint8_t shift = spacing > 15 * 128 ? 7 : spacing > 15 * 64 ? 6 : 5;
	/* It samples a clock and a half after the start, which waits for the next edge of that clock: half a clock in the
	 * mean. */
	delay = (3 << shift) / 2;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		ADCSRA = _BV(ADEN) | shift;
		head = tail = tail_channel = 0;
		lost = false;
		running = true;
		current_step = spacing <= NEAR ? spacing : 0;
		current_mux = CHANNEL(0);
		tail_time = from + spacing;
		next = tail_time - delay;
		if (current_step)
			set_timer((uint16_t)next);
	}
}

static inline void hold(uint16_t value)
{
	const uint8_t h = head;
	converting = false;
	if ((uint8_t)(h - tail) == SAMPLES_HELD) {
		lost = true;
		return;
	}
	held[h % SAMPLES_HELD] = value;
	head = h + 1;
}

/* A conversion has just been started, and the one before may have a result that nobody has taken: for conversions.S, with
 * interrupts on. */
void current_converting(void);
void current_converting(void)
{
	static volatile bool here;
	if (here) { /* so much to do that the next one comes before this is over */
		lost = true;
		return;
	}
	here = true;
	if (converting) {
		if (current_control & _BV(ADSC))
			lost = true; /* of two conversions one has not been */
		else
			hold(current_result);
	}
	converting = true;
#if TRACKS == 2
	current_mux ^= CHANNEL(0) ^ CHANNEL(1);
#endif
	if (!current_step) {
		ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
		{
			TIMSK1 &= ~_BV(OCIE1B);
		}
		armed = false;
		next += spacing;
	}
	here = false;
}

void current_task(void)
{
	if (!running)
		return;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		if (converting && !(ADCSRA & _BV(ADSC)))
			hold(ADC);
	}
	if ((uint8_t)(head - tail) > SAMPLES_MOST - 8)
		stretch_shorten();
	if (armed)
		return;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		const uint32_t ahead = next - clock_now_locked();
		if (ahead < NEAR)
			set_timer((uint16_t)next);
	}
}

bool current_complete(uint32_t tick)
{
	return !running || (int32_t)(tail_time + (uint8_t)(head - tail) * spacing - tick) >= 0;
}

uint8_t current_before(uint32_t tick, uint32_t *first, uint8_t *first_channel)
{
	*first = tail_time;
	*first_channel = tail_channel;
	if (!running)
		return 0;
	const uint8_t there = head - tail;
	uint8_t n = 0;
	for (uint32_t at = tail_time; n < there && n < SAMPLES_MOST && (int32_t)(at - tick) < 0; at += spacing)
		n++;
	return n;
}

void current_take(uint16_t *into, uint8_t n)
{
	uint8_t from = tail;
	tail_time += n * spacing;
	tail_channel ^= TRACKS == 2 ? n & 1 : 0;
	for (; n; n--)
		*into++ = held[from++ % SAMPLES_HELD];
	tail = from;
}

uint16_t current_spacing(void) { return spacing > 0xFFFF ? 0xFFFF : spacing; }

bool current_lost(void) { return lost; }
