/* The load of each track: an electronic one, set by a ladder of resistors on a port. */
#ifndef LOAD_H
#define LOAD_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"

typedef struct {
	uint8_t level; /* steps */
	uint16_t hold; /* 4 us; 0: for ever */
} step_t;

void load_start(void);
/* Queues steps instead of those that wait, or behind them. The first begins at a tick, or at once if that is past; behind
 * others not before the hold of the last of them is over. After a last step that has a hold the load is zero. False when
 * there is no room for all; else the tick, or that of now. */
bool load_queue(uint8_t track, bool behind, uint32_t *at, const step_t *steps, uint8_t count);
/* A pulse at a tick, instead of what waits, and then the level that the load has before it. */
void load_pulse(uint8_t track, uint32_t at, uint8_t level, uint16_t width);
bool load_on(uint8_t track);
void load_off(uint8_t track);
/* Looks after steps that are far away. */
void load_task(void);
/* Once in a millisecond: watches the rating. */
void load_millisecond(void);

#endif
