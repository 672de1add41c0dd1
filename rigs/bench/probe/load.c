#include "load.h"

#include <avr/interrupt.h>
#include <util/atomic.h>

#include "clock.h"
#include "events.h"
#include "ratings.h"

#define UNIT (4 * TICKS_PER_MICROSECOND)
/* A step that is further away than this is not set in the timer yet: its 16 bits are 4.1 ms. */
#define NEAR 40000
/* The timer has to be set to something that is still to come when it is set. */
#define SOON 120
/* A step that begins less than this late is as good as on time, so that a late interrupt does not move the steps after it. */
#define ON_TIME (50 * TICKS_PER_MICROSECOND)

typedef struct {
	uint8_t level;
	uint8_t kind; /* of these: */
	uint16_t hold;
	uint32_t at; /* of one that is timed */
} queued_t;

enum {
	TIMED = 1,    /* the first of a profile: it begins at its tick */
	BEHIND = 2,   /* but not before the hold of the step before it is over */
	RESTORES = 4, /* its level is the one that the step before it has replaced */
};

typedef struct {
	queued_t step[STEPS];
	uint8_t first, waiting;
	bool holds;    /* the present step has an end, after which the load is zero unless another one begins: */
	uint32_t ends; /* that */
	uint8_t level; /* of the present step */
	/* What happens next, when it is near: the interrupt has no time to look for it. */
	bool armed;
	bool ending; /* no step begins, one ends */
	uint32_t due;
	uint8_t most;   /* the highest level since the last millisecond */
	uint16_t above; /* milliseconds above the continuous rating, less a tenth of those below */
	uint8_t cooling; /* milliseconds of that tenth */
} load_t;

static load_t load[TRACKS];
volatile uint8_t load_next[TRACKS]; /* the level of what happens next: shared with load_steps.S */

static inline __attribute__((always_inline)) void ladder(uint8_t i, uint8_t level)
{
#if TRACKS == 2
	if (i)
		LOAD1_PORT = level;
	else
		LOAD0_PORT = level;
#else
	(void)i;
	PORTD = level << 3;
	if (level & 0x20)
		PORTB |= _BV(PB3);
	else
		PORTB &= ~_BV(PB3);
#endif
}

void load_start(void)
{
#if TRACKS == 2
	LOAD0_PORT = LOAD1_PORT = 0;
	LOAD0_DDR = LOAD1_DDR = 0xFF;
#else
	PORTD = 0;
	DDRD |= 0xF8;
	PORTB &= ~_BV(PB3);
	DDRB |= _BV(PB3);
#endif
}

/* Sets the timer, or stops it. With interrupts off. */
static void set_timer(uint8_t i, uint16_t at)
{
#if TRACKS == 2
	if (i) {
		OCR3A = at;
		TIFR3 = _BV(OCF3A);
		TIMSK3 |= _BV(OCIE3A);
		return;
	}
#else
	(void)i;
#endif
	OCR1A = at;
	TIFR1 = _BV(OCF1A);
	TIMSK1 |= _BV(OCIE1A);
}

static void stop_timer(uint8_t i)
{
#if TRACKS == 2
	if (i) {
		TIMSK3 &= ~_BV(OCIE3A);
		return;
	}
#else
	(void)i;
#endif
	TIMSK1 &= ~_BV(OCIE1A);
}

/* Finds out what happens next, and sets the timer if that is near. The timer is stopped, or this is its interrupt. */
static void arm(uint8_t i)
{
	load_t *const l = &load[i];
	if (!l->waiting && !l->holds)
		return;
	const queued_t *const s = &l->step[l->first];
	uint32_t due = l->ends;
	l->ending = !l->waiting;
	if (l->waiting && s->kind & TIMED) {
		/* One that is not behind others ends what is before it, one that comes after the end of that leaves a gap. */
		const bool after = l->holds && (int32_t)(s->at - l->ends) > 0;
		l->ending = after;
		if (!after && !(s->kind & BEHIND && l->holds))
			due = s->at;
	}
	l->due = due;
	load_next[i] = l->ending ? 0 : s->level;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		const uint32_t now = clock_now_locked();
		const int32_t ahead = due - now;
		if (ahead < NEAR) {
			l->armed = true;
			set_timer(i, ahead < SOON ? (uint16_t)now + SOON : (uint16_t)due);
		}
	}
}

/* What was due has happened: for load_steps.S, with interrupts on. */
void load_begun(uint8_t i);
void load_begun(uint8_t i)
{
	load_t *const l = &load[i];
	const uint8_t before = l->level;
	l->armed = false;
	l->level = load_next[i];
	if (l->level > l->most)
		l->most = l->level;
	if (l->ending) {
		l->holds = false;
	} else {
		const queued_t *const s = &l->step[l->first];
		const uint32_t now = clock_now();
		l->holds = s->hold != 0;
		l->ends = (now - l->due < ON_TIME ? l->due : now) + s->hold * UNIT;
		l->first = (l->first + 1) % STEPS;
		l->waiting--;
		if (l->waiting && l->step[l->first].kind & RESTORES)
			l->step[l->first].level = before;
	}
	arm(i);
}

/* Nothing changes until the next arm. */
static void stop(uint8_t i)
{
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		stop_timer(i);
		load[i].armed = false;
	}
}

void load_off(uint8_t i)
{
	stop(i);
	load[i].waiting = 0;
	load[i].holds = false;
	load[i].level = 0;
	ladder(i, 0);
}

static void queue(load_t *l, uint8_t kind, uint32_t at, uint8_t level, uint16_t hold)
{
	queued_t *const s = &l->step[(l->first + l->waiting++) % STEPS];
	s->kind = kind;
	s->at = at;
	s->level = level;
	s->hold = hold;
}

bool load_queue(uint8_t i, bool behind, uint32_t *at, const step_t *steps, uint8_t count)
{
	load_t *const l = &load[i];
	if (count == 0 && !behind) {
		load_off(i);
		*at = clock_now();
		return true;
	}
	stop(i);
	const bool room = count <= STEPS - (behind ? l->waiting : 0);
	if (room) {
		if (!behind)
			l->waiting = 0;
		const uint32_t now = clock_now();
		if ((int32_t)(*at - now) < 0)
			*at = now;
		for (uint8_t k = 0; k < count; k++)
			queue(l, k ? 0 : behind ? TIMED | BEHIND : TIMED, *at, steps[k].level, steps[k].hold);
	}
	arm(i);
	return room;
}

void load_pulse(uint8_t i, uint32_t at, uint8_t level, uint16_t width)
{
	load_t *const l = &load[i];
	stop(i);
	l->waiting = 0;
	queue(l, TIMED, at, level, width ? width : 1);
	queue(l, RESTORES, 0, 0, 0);
	arm(i);
}

bool load_on(uint8_t i)
{
	bool on;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		on = load[i].level || load[i].waiting || load[i].holds;
	}
	return on;
}

void load_task(void)
{
	for (uint8_t i = 0; i < TRACKS; i++)
		if (!load[i].armed)
			arm(i);
}

/* What heats in a millisecond cools in ten: the sink of ../README.md has room for the one and not for much more. A millisecond in
 * which the load was above its continuous rating at all counts as a whole one, or pulses between two looks would not count. */
enum { COOLING = 10 };

void load_millisecond(void)
{
	for (uint8_t i = 0; i < TRACKS; i++) {
		load_t *const l = &load[i];
		uint8_t most;
		ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
		{
			most = l->most;
			l->most = l->level;
		}
		if (most <= RATED(i, continuous)) {
			if (l->above && ++l->cooling >= COOLING) {
				l->cooling = 0;
				l->above--;
			}
			continue;
		}
		if (++l->above < RATED(i, brief) || l->level <= RATED(i, continuous))
			continue;
		load_off(i);
		event_tell(LOAD_RATING, track_id(i), 0, clock_now());
	}
}
