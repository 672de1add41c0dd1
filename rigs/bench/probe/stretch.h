/* All that happened from one tick to another, as a frame. */
#ifndef STRETCH_H
#define STRETCH_H

#include <stdbool.h>
#include <stdint.h>

/* What edges.c has to know of the stretch that is being recorded. */
typedef struct {
	bool recording;
	uint16_t start;  /* the lower half of its tick */
	uint16_t length; /* ticks */
} stretch_t;

extern stretch_t stretch;

/* Begins to record; the tick at which. */
uint32_t stretch_start(uint16_t microseconds, uint16_t sampling);
/* Ends that. False as long as the last stretch, which ends now, is not sent. */
bool stretch_stop(void);
void stretch_task(void);
/* Whether there is no time for anything else. */
bool stretch_late(void);
/* Ends the stretch now: a buffer of it is filling up. */
void stretch_shorten(void);

#endif
