/* What the probe does by itself, and what went wrong: told to the host. */
#ifndef EVENTS_H
#define EVENTS_H

#include <stdint.h>

enum event {
	SHORT_SILENT = 1,
	SHORT_TIME = 2,
	LOAD_SILENT = 3,
	LOAD_RATING = 4,
	REFLEX_FIRED = 5,
	REFLEX_SILENT = 6,
};

void event_tell(enum event what, uint8_t track, uint8_t detail, uint32_t tick);
/* Sends one event that waits, if there is room. */
void events_task(void);

/* Of STATUS. Each stops at its top, 65535 for those of 16 bits. */
typedef struct {
	uint32_t edges_lost; /* stretches of a track in which some were: nobody counts what is not seen */
	uint16_t samples_lost, frames_dropped, commands_broken, input_overruns, refused, opened_by_itself;
} counters_t;

extern counters_t counters;
void count(uint16_t *counter, uint8_t n);

#endif
