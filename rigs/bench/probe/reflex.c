#include "reflex.h"

#include <string.h>

#include "clock.h"
#include "edges.h"
#include "events.h"
#include "load.h"
#include "ratings.h"

/* A half-bit of a one lasts 52 to 64 us for a decoder, one of a zero 90 to 10000 us: S-9.1 A (2020). The bounds are half way
 * between, and half of the shortest. */
#define ONE_LEAST (26 * TICKS_PER_MICROSECOND)
#define ONE_MOST (77 * TICKS_PER_MICROSECOND)
/* Ten ones make a preamble for a decoder: S-9.2 A (July 2004). */
enum { PREAMBLE_HALVES = 20 };
/* Differences of 16 bits tell nothing of a half-bit that lasts longer: in these milliseconds it has become one of a zero, or of
 * nothing. */
enum { SURELY_ZERO = 3, NOTHING_MORE = 13 };
enum { ENDLESS = 255 };

enum phase { PREAMBLE, START_BIT, FIRST_HALF, SECOND_HALF };

typedef struct {
	uint16_t last; /* edge */
	uint8_t age;   /* of it, in milliseconds */
	uint8_t phase;
	uint8_t halves; /* of ones in a row */
	uint8_t first;  /* half of the bit: is it of a one? */
	uint8_t bits, byte, length;
	uint8_t bytes[PACKET_MOST];
} ear_t;

static ear_t ear[TRACKS];
static rule_t rules[REFLEXES];
uint8_t reflex_armed[TRACKS];

void reflex_forget(uint8_t track)
{
	ear[track].phase = PREAMBLE;
	ear[track].halves = 0;
	ear[track].age = ENDLESS; /* the next edge begins a half-bit and ends none */
}

void reflex_millisecond(void)
{
	for (uint8_t i = 0; i < TRACKS; i++)
		if (ear[i].age < ENDLESS)
			ear[i].age++;
}

static void arm(void)
{
	for (uint8_t i = 0; i < TRACKS; i++) {
		uint8_t n = 0;
		for (uint8_t k = 0; k < REFLEXES; k++)
			n += rules[k].length && rules[k].track == i;
		if (!reflex_armed[i]) /* deaf until now */
			reflex_forget(i);
		reflex_armed[i] = n;
	}
}

void reflex_set(uint8_t i, const rule_t *rule)
{
	rules[i] = *rule;
	arm();
}

void reflex_clear(void)
{
	memset(rules, 0, sizeof rules);
	arm();
}

bool reflex_any(void)
{
	for (uint8_t i = 0; i < TRACKS; i++)
		if (reflex_armed[i])
			return true;
	return false;
}

/* A packet has ended with the edge at a tick of which only the lower half is known. */
static void packet(uint8_t track, uint16_t at)
{
	ear_t *const e = &ear[track];
	for (uint8_t i = 0; i < REFLEXES; i++) {
		rule_t *const r = &rules[i];
		if (!r->length || r->track != track)
			continue;
		if (r->length != e->length || memcmp(r->bytes, e->bytes, e->length) != 0) {
			r->heard = 0;
			continue;
		}
		if (r->heard == ENDLESS || ++r->heard != r->run)
			continue;
		const uint32_t now = clock_now();
		const uint32_t end = now - (uint16_t)((uint16_t)now - at);
		load_pulse(track, end + (uint32_t)r->delay * (4 * TICKS_PER_MICROSECOND), r->level, r->width);
		event_tell(REFLEX_FIRED, track_id(track), i, end);
	}
}

/* The bit behind a byte. False when a packet has ended, or nothing can come of it. */
static __attribute__((noinline)) bool bit(uint8_t track, uint8_t one, uint16_t at)
{
	ear_t *const e = &ear[track];
	if (e->length == PACKET_MOST)
		return false; /* too long to be meant */
	e->bytes[e->length++] = e->byte;
	e->bits = 0;
	if (!one)
		return true;
	packet(track, at);
	return false;
}

/* Half a bit. What of the ear changes with every edge is in registers where this is part of a loop. */
typedef struct {
	uint16_t last;
	uint8_t phase, halves, first;
} quick_t;

static inline __attribute__((always_inline)) void hear(uint8_t track, ear_t *e, quick_t *q, uint8_t one, uint16_t at)
{
	if (q->phase == FIRST_HALF) {
		q->first = one;
		q->phase = SECOND_HALF;
	} else if (q->phase == SECOND_HALF) {
		q->phase = FIRST_HALF;
		if (one == q->first && e->bits < 8) {
			e->byte = e->byte << 1 | one;
			e->bits++;
		} else if (one != q->first || !bit(track, one, at)) {
			/* An end bit may be the first bit of the next preamble: S-9.2 A, footnote 3 (July 2004). */
			q->phase = PREAMBLE;
			q->halves = one + one;
		}
	} else if (q->phase == PREAMBLE) {
		if (one) {
			if (q->halves < ENDLESS)
				q->halves++;
		} else {
			if (q->halves >= PREAMBLE_HALVES)
				q->phase = START_BIT;
			q->halves = 0;
		}
	} else { /* the second half of the start bit */
		q->phase = one ? PREAMBLE : FIRST_HALF;
		q->halves = one;
		e->bits = e->length = 0;
	}
}

void reflex_edge(uint8_t track, uint8_t level, uint16_t at)
{
	ear_t *const e = &ear[track];
	quick_t q = {at, e->phase, e->halves, e->first};
	const uint16_t half = at - e->last;
	const uint8_t age = e->age;
	const uint8_t one = half <= ONE_MOST && age < SURELY_ZERO;
	e->last = at;
	if (level == OFF || age > NOTHING_MORE || (half < ONE_LEAST && one)) {
		reflex_forget(track);
		if (level != OFF)
			e->age = 0;
		return;
	}
	e->age = 0;
	hear(track, e, &q, one, at);
	e->phase = q.phase;
	e->halves = q.halves;
	e->first = q.first;
}

void reflex_edges(uint8_t track, uint8_t level, const uint8_t *ring, uint8_t from, uint8_t to)
{
	ear_t *const e = &ear[track];
	if (from != to && e->age >= SURELY_ZERO) {
		reflex_edge(track, level, *(const volatile uint16_t *)(ring + from));
		from += 4;
	}
	if (from == to)
		return;
	quick_t q = {e->last, e->phase, e->halves, e->first};
	for (; from != to; from += 4) {
		const uint16_t at = *(const volatile uint16_t *)(ring + from);
		const uint16_t half = at - q.last;
		q.last = at;
		if (half < ONE_LEAST) {
			q.phase = PREAMBLE;
			q.halves = 0;
		} else {
			hear(track, e, &q, half <= ONE_MOST, at);
		}
	}
	e->age = 0;
	e->last = q.last;
	e->phase = q.phase;
	e->halves = q.halves;
	e->first = q.first;
}
