#include "acknowledge.h"

#include <util/atomic.h>

#include "board.h"
#include "defects.h"
#include "packet.h"

/* What counts: our own choice, half the least increase, and a little more than half the least width. */
#define RISE COUNTS(32)
#define WIDTH READINGS(3)
/* The current at rest is the mean of so many readings: 6.7 ms, a little less than a reset packet lasts. A power of two, and a
 * sum in place of the mean, for a division takes forty microseconds, which an interrupt does not have. */
#define MEAN 32
/* A small motor is chopped by its commutator: so short a gap does not end a pulse. Our own choice. */
#define GAP 4

static struct {
	uint16_t sum;
	uint8_t count;
	uint16_t stretch[3]; /* the current at rest over the last three resets, in 1/MEAN */
	uint16_t rest;       /* the middle one of them */
	bool open;           /* the window in which an acknowledge counts */
	bool armed;          /* the current was at rest when it opened, or since */
	bool at_rest;        /* in the latest reading */
	uint8_t above, below;
	volatile bool seen;
} watch;

static void clear(void)
{
	watch.armed = false;
	watch.above = watch.below = 0;
	watch.seen = false;
}

void acknowledge_restart(void)
{
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		watch.open = false;
		watch.sum = watch.count = 0;
		clear();
	}
}

static uint16_t middle(uint16_t a, uint16_t b, uint16_t c)
{
	if (a > b) {
		uint16_t t = a;
		a = b;
		b = t;
	}
	return c < a ? a : c > b ? b : c;
}

void acknowledge_cue(uint8_t cue)
{
	if (cue == END_BASELINE) {
		if (HAS(DIVISION_IN_INTERRUPT) && watch.count)
			watch.sum = (uint32_t)watch.sum * 10 / watch.count * MEAN / 10, watch.count = MEAN; /* tenths, to be exact */
		if (watch.count == MEAN) {
			watch.stretch[0] = watch.stretch[1];
			watch.stretch[1] = watch.stretch[2];
			watch.stretch[2] = watch.sum;
		}
		watch.sum = watch.count = 0;
		watch.rest = middle(watch.stretch[0], watch.stretch[1], watch.stretch[2]);
	} else if (cue == OPEN_WINDOW && !watch.open) {
		watch.open = true;
		clear();
		/* A decoder may answer before the next reading. */
		watch.armed = watch.at_rest;
	}
}

void acknowledge_reading(uint16_t counts)
{
	if (HAS(SLOW_ACKNOWLEDGE)) {
		static uint16_t smooth; /* in 1/32, time constant 6.7 ms */
		smooth += counts - (smooth >> 5);
		counts = smooth >> 5;
	}
	watch.at_rest = counts * MEAN < watch.rest + RISE * MEAN;
	if (!watch.open) {
		if (watch.count < MEAN) { /* of at most 1023 each: the sum fits */
			watch.sum += counts;
			watch.count++;
		}
		return;
	}
	if (watch.at_rest) {
		watch.armed = true;
		if (watch.above > 0 && ++watch.below > GAP)
			watch.above = watch.below = 0;
		return;
	}
	if (!watch.armed || watch.above > 250)
		return;
	watch.above += watch.below + 1;
	watch.below = 0;
	if (watch.above >= WIDTH)
		watch.seen = true;
}

bool acknowledge_seen(void) { return watch.seen; }
bool acknowledge_under_way(void) { return watch.open && !watch.seen && watch.above > 0; }
