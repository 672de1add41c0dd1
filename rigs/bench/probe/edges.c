#include "edges.h"

#include <avr/interrupt.h>
#include <util/atomic.h>

#include "clock.h"
#include "events.h"
#include "reflex.h"
#include "stretch.h"

/* An edge of ABSENT may be told before an edge of SIGN that was earlier, since its interrupt goes first. After so many ticks
 * nothing earlier can come any more. */
#define SETTLED (30 * TICKS_PER_MICROSECOND)
/* When voltage comes, SIGN tells the time of it better than ABSENT, if it changed so shortly before. */
#define PAIRED (15 * TICKS_PER_MICROSECOND)
/* Ticks from an edge of ABSENT to the reading of the timer, when nothing delays the interrupt: 4 for the response, or 5 where the
 * program counter has 22 bits (data sheets, "Interrupt Response Time"), 3 for the jump, 5 for what comes before the reading. */
#define READING (TRACKS == 2 ? 13 : 12)
/* So many items are as good as full: what is left is for those that come before the stretch is closed. */
#define PLENTY (ITEMS - 20)
/* Bytes of entries that are worth the way: the end of a stretch, or a reflex, can wait for half a millisecond. */
#define BATCH (4 * 8)
/* Differences above it are those of an edge that is a little earlier, not much later. */
#define EARLIER 0xF000

/* What capture.S writes: see there. A ring of 256 bytes wraps by itself. */
typedef struct {
	uint16_t at;
	uint8_t kind, unused;
} entry_t;

enum { FROM_SIGN = 1, ABSENT = 2, RISEN = 1 << 6 /* ICESn */ };

track_t edges_track[TRACKS];
uint8_t edges_ring0[256] __attribute__((aligned(256)));
#if TRACKS == 2
uint8_t edges_ring1[256] __attribute__((aligned(256)));
#endif
volatile uint8_t edges_head[TRACKS], edges_tail[TRACKS], edges_missed[TRACKS];

typedef struct {
	uint16_t last;    /* when the last item was, or when the stretch began */
	uint16_t sign_at; /* the last edge of SIGN without voltage, if fresh */
	bool fresh;
	bool positive; /* what SIGN shows while there is no voltage */
	bool unsure;   /* something was missed: the level may be wrong */
	bool full;     /* the next edge is for the next stretch */
} state_t;

static state_t state[TRACKS];

/* The levels of the pins, when nothing is known of how they came about. */
static void look(uint8_t i)
{
	state[i].positive = SIGN_PIN >> (i ? SIGN1_BIT : SIGN0_BIT) & 1;
	state[i].fresh = false;
	const bool absent = ABSENT_PIN >> (i ? ABSENT1_BIT : ABSENT0_BIT) & 1;
	edges_track[i].level = absent ? OFF : state[i].positive ? POSITIVE : NEGATIVE;
}

void edges_start(void)
{
	for (uint8_t i = 0; i < TRACKS; i++)
		look(i);
#if TRACKS == 2
	TCCR4B = _BV(CS40) | (state[0].positive ? 0 : _BV(ICES4));
	TCCR5B = _BV(CS50) | (state[1].positive ? 0 : _BV(ICES5));
	EICRB = _BV(ISC40) | _BV(ISC50);
	EIMSK = _BV(INT4) | _BV(INT5);
	TIFR4 = _BV(ICF4);
	TIFR5 = _BV(ICF5);
	TIMSK4 = _BV(ICIE4);
	TIMSK5 = _BV(ICIE5);
#else
	TCCR1B = _BV(CS10) | (state[0].positive ? 0 : _BV(ICES1));
	EICRA = _BV(ISC00);
	EIMSK = _BV(INT0);
	TIFR1 = _BV(ICF1);
	TIMSK1 |= _BV(ICIE1);
#endif
}

enum verdict { EDGE, NO_EDGE, OTHER_FIRST, TOO_EARLY };

static uint16_t edge_at;
static uint8_t edge_level;

/* What is no edge of SIGN with voltage on the track. An edge is left in edge_at and edge_level. */
static __attribute__((noinline)) enum verdict unusual(uint8_t i, uint8_t *ring, uint8_t tail, uint8_t level)
{
	state_t *const s = &state[i];
	volatile entry_t *const e = (volatile entry_t *)(ring + tail);
	const uint16_t at = e->at;
	const uint8_t kind = e->kind;
	if (kind & FROM_SIGN) {
		s->positive = kind & RISEN;
		s->sign_at = at;
		s->fresh = true;
		return NO_EDGE;
	}
	const uint16_t now = clock_now();
	const uint8_t after = tail + 4;
	if (after == edges_head[i]) {
		if ((uint16_t)(now - at) < SETTLED)
			return TOO_EARLY;
	} else {
		volatile entry_t *const next = (volatile entry_t *)(ring + after);
		if (next->kind & FROM_SIGN && (int16_t)(next->at - at) < 0) {
			e->at = next->at;
			e->kind = next->kind;
			next->at = at;
			next->kind = kind;
			return OTHER_FIRST;
		}
	}
	edge_at = at - READING;
	if (kind & ABSENT) {
		if (level == OFF)
			return NO_EDGE;
		s->positive = level == POSITIVE;
		s->fresh = false;
		edge_level = OFF;
		return EDGE;
	}
	if (level != OFF)
		return NO_EDGE;
	edge_level = s->positive ? POSITIVE : NEGATIVE;
	if (s->fresh && (uint16_t)(at - s->sign_at) < PAIRED)
		edge_at = s->sign_at;
	return EDGE;
}

/* What edges_run.S goes on with, and leaves. */
typedef struct {
	uint8_t tail, head, page;
	uint8_t expected; /* kind of the next edge: SIGN goes the other way */
	uint8_t room;
	uint16_t *item;
	uint16_t last, start, length;
} run_t;

void edges_run(run_t *);

/* A new level, some ticks after the item before. */
static void record(track_t *t, uint8_t level, uint16_t gone)
{
	for (; gone > ITEM_MOST; gone -= ITEM_MOST)
		if (t->items < ITEMS)
			t->item[t->items++] = (uint16_t)NOTHING << 14 | ITEM_MOST;
	if (t->items < ITEMS)
		t->item[t->items++] = (uint16_t)level << 14 | gone;
	else
		t->lost = true;
}

/* Works through the edges that are as usual. */
static uint8_t run(uint8_t i, uint8_t *ring, uint8_t tail, uint8_t head)
{
	track_t *const t = &edges_track[i];
	run_t r = {tail, head, (uint16_t)ring >> 8, t->level == POSITIVE ? FROM_SIGN : FROM_SIGN | RISEN, ITEMS - t->items,
		   t->item + t->items, state[i].last, stretch.start, stretch.length};
	edges_run(&r);
	t->items = ITEMS - r.room;
	t->level = r.expected & RISEN ? NEGATIVE : POSITIVE;
	state[i].last = r.last;
	if (reflex_armed[i])
		reflex_edges(i, t->level, ring, tail, r.tail);
	return r.tail;
}

/* Works through one edge of any kind. False when it, or what may come before it, is still to come or not for this stretch. */
static bool step(uint8_t i, uint8_t *ring, uint8_t *tail)
{
	track_t *const t = &edges_track[i];
	volatile entry_t *const e = (volatile entry_t *)(ring + *tail);
	uint16_t at = e->at;
	uint8_t level = e->kind & RISEN ? POSITIVE : NEGATIVE;
	if (t->level == OFF || !(e->kind & FROM_SIGN)) {
		const enum verdict v = unusual(i, ring, *tail, t->level);
		if (v == OTHER_FIRST)
			return true;
		if (v == TOO_EARLY)
			return false;
		if (v == NO_EDGE) {
			*tail += 4;
			return true;
		}
		at = edge_at;
		level = edge_level;
	}
	if (level != t->level) {
		if (stretch.recording) {
			const uint16_t in = at - stretch.start;
			if (in >= stretch.length) {
				if (in < EARLIER) {
					state[i].full = true;
					return false;
				}
				at = stretch.start;
			}
			uint16_t gone = at - state[i].last;
			if (gone >= EARLIER) {
				at = state[i].last;
				gone = 0;
			}
			record(t, level, gone);
			state[i].last = at;
		}
		t->level = level;
		if (reflex_armed[i])
			reflex_edge(i, level, at);
	}
	*tail += 4;
	return true;
}

/* What comes meanwhile has its turn the next time. */
static void work(uint8_t i, uint8_t *ring)
{
	uint8_t tail = edges_tail[i];
	const uint8_t head = edges_head[i];
	do {
		if (stretch.recording && edges_track[i].level != OFF && edges_track[i].items < ITEMS)
			tail = run(i, ring, tail, head);
	} while (tail != head && step(i, ring, &tail) && tail != head);
	edges_tail[i] = tail;
	if (edges_track[i].items > PLENTY)
		stretch_shorten();
}

/* The interrupts have missed something. If it was an edge of ABSENT, the level is wrong until the pins are looked at, which
 * has to wait until nothing is left in the ring. */
static void missed(uint8_t i)
{
	edges_missed[i] = 0;
	state[i].unsure = true;
	edges_track[i].lost = true;
	counters.edges_lost++;
	reflex_forget(i);
}

static void make_sure(uint8_t i)
{
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		if (edges_tail[i] == edges_head[i]) {
			state[i].unsure = false;
			look(i);
		}
	}
}

static void look_through(uint8_t i, uint8_t *ring, bool all)
{
	const uint8_t waiting = edges_head[i] - edges_tail[i];
	if (waiting >= (all || state[i].unsure || !stretch.recording ? 1 : BATCH) && !state[i].full)
		work(i, ring);
	if (edges_missed[i])
		missed(i);
	if (state[i].unsure && !waiting)
		make_sure(i);
}

static void look_through_all(bool all)
{
	look_through(0, edges_ring0, all);
#if TRACKS == 2
	look_through(1, edges_ring1, all);
#endif
}

void edges_task(void) { look_through_all(false); }
void edges_finish(void) { look_through_all(true); }

/* An edge of SIGN without voltage is not for ever: in 4 ms the timer shows the same count again. */
void edges_millisecond(void)
{
	for (uint8_t i = 0; i < TRACKS; i++)
		if (state[i].fresh && (uint16_t)((uint16_t)clock_now() - state[i].sign_at) >= PAIRED)
			state[i].fresh = edges_tail[i] != edges_head[i];
}

void edges_next(void)
{
	for (uint8_t i = 0; i < TRACKS; i++) {
		track_t *const t = &edges_track[i];
		t->items = 0;
		t->lost = state[i].unsure;
		t->level_at_start = t->level;
		state[i].last = stretch.start;
		state[i].full = false;
	}
}

void edges_drop(void)
{
	for (uint8_t i = 0; i < TRACKS; i++) {
		ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
		{
			edges_tail[i] = edges_head[i];
			edges_missed[i] = 0;
			look(i);
		}
		state[i].full = state[i].unsure = false;
		reflex_forget(i);
	}
}
