#include "events.h"

#include "frame.h"
#include "protocol.h"

/* As many as can happen at once: all that the silence of the host opens, and a reflex of each track. */
enum { QUEUE = 8 };

static struct {
	uint32_t tick;
	uint8_t what, track, detail;
} queue[QUEUE];
static uint8_t first, waiting;

counters_t counters;

void count(uint16_t *counter, uint8_t n) { *counter = *counter > 0xFFFF - n ? 0xFFFF : *counter + n; }

void event_tell(enum event what, uint8_t track, uint8_t detail, uint32_t tick)
{
	if (waiting == QUEUE) {
		count(&counters.frames_dropped, 1);
		return;
	}
	const uint8_t i = (first + waiting++) % QUEUE;
	queue[i].tick = tick;
	queue[i].what = what;
	queue[i].track = track;
	queue[i].detail = detail;
}

void events_task(void)
{
	if (!waiting || !frame_room())
		return;
	frame_begin(EVENT);
	frame_put32(queue[first].tick);
	frame_put(queue[first].what);
	frame_put(queue[first].track);
	frame_put(queue[first].detail);
	frame_end();
	first = (first + 1) % QUEUE;
	waiting--;
}
