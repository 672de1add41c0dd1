#include "stretch.h"

#include "clock.h"
#include "current.h"
#include "edges.h"
#include "events.h"
#include "frame.h"
#include "protocol.h"
#include "ratings.h"

/* What happened last in a stretch has come to its end by then: see SETTLED in edges.c. */
#define MARGIN (40 * TICKS_PER_MICROSECOND)
/* Times in a stretch have 16 bits, with what has come since its end. A probe that is further behind no longer knows what is
 * meant, and leaves a gap instead. Those a little before the start are at the top: see EARLIER in edges.c. */
#define LONGEST (2000 * TICKS_PER_MICROSECOND)
#define BEHIND 0xE800
#define LATE (500UL * TICKS_PER_MICROSECOND)

stretch_t stretch;

static uint32_t begins;
static uint16_t wanted; /* ticks */
static uint16_t interval;
static bool ending; /* the stretch is the last one */

enum { LOST_SAMPLES = 1 << 2 };

static void begin(uint32_t at)
{
	begins = at;
	stretch.start = (uint16_t)at;
	stretch.length = wanted;
	edges_next();
}

uint32_t stretch_start(uint16_t microseconds, uint16_t sampling)
{
	const uint32_t ticks = microseconds * TICKS_PER_MICROSECOND;
	wanted = ticks > LONGEST ? LONGEST : ticks;
	interval = sampling;
	current_stop();
	edges_finish();
	stretch.recording = true;
	begin(clock_now());
	current_start(interval, begins);
	return begins;
}

bool stretch_stop(void)
{
	if (stretch.recording && !ending) {
		stretch_shorten();
		ending = true;
	}
	return !stretch.recording;
}

void stretch_shorten(void)
{
	if (!stretch.recording || ending)
		return;
	const uint32_t gone = clock_now() - begins;
	if (gone < stretch.length)
		stretch.length = gone ? gone : 1;
}

static void start_over(void)
{
	edges_drop();
	current_stop();
	count(&counters.samples_lost, interval != 0);
	begin(clock_now());
	current_start(interval, begins);
	for (uint8_t i = 0; i < TRACKS; i++)
		edges_track[i].lost = true;
	counters.edges_lost++;
}

static void send(void)
{
	const uint32_t end = begins + stretch.length;
	uint32_t first;
	uint8_t channel;
	const uint8_t samples = current_before(end, &first, &channel);
	const bool lost = current_lost();
	/* Levels and flags go by identities: a track that is not there is not looked at. */
	uint8_t levels = NOTHING << 2 | NOTHING, flags = lost ? LOST_SAMPLES : 0;
	for (uint8_t i = 0; i < TRACKS; i++) {
		const uint8_t id = track_id(i);
		levels ^= (NOTHING ^ edges_track[i].level_at_start) << (2 * id);
		flags |= edges_track[i].lost << id;
	}
	const struct {
		uint32_t start;
		uint16_t length;
		uint8_t levels, flags;
	} head = {begins, stretch.length, levels, flags};
	frame_begin(STRETCH);
	frame_bytes(&head, sizeof head);
	for (uint8_t i = 0; i < TRACKS; i++)
		frame_bytes(&edges_track[i].items, 1 + 2 * edges_track[i].items);
	struct {
		uint8_t n;
		uint16_t offset, spacing;
		uint8_t channel;
		uint16_t value[SAMPLES_MOST];
	} s = {.n = samples, .offset = first - begins, .spacing = current_spacing(), .channel = channel};
	current_take(s.value, samples);
	frame_bytes(&s, samples ? 6 + 2 * samples : 1);
	frame_end();
	if (ending) {
		stretch.recording = ending = false;
		edges_next();
		current_stop();
		return;
	}
	begin(end);
	if (lost) {
		count(&counters.samples_lost, 1);
		current_stop();
		current_start(interval, clock_now());
	}
}

void stretch_task(void)
{
	if (!stretch.recording || !frame_room())
		return;
	const uint32_t gone = clock_now() - begins;
	if (gone < (uint32_t)stretch.length + MARGIN)
		return;
	if (gone > BEHIND && !ending) {
		start_over();
		return;
	}
	if (!current_complete(begins + stretch.length))
		return;
	edges_finish();
	send();
}

bool stretch_late(void) { return stretch.recording && clock_now() - begins > stretch.length + LATE; }
