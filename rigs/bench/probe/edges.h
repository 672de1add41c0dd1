/* From what the interrupts of capture.S saw to items of a stretch: a level, and the ticks since the item before. */
#ifndef EDGES_H
#define EDGES_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"

enum level { OFF, POSITIVE, NEGATIVE };
enum { NOTHING = 3 };      /* ticks pass and nothing changes */
enum { ITEM_MOST = 0x3FFF }; /* ticks of one item */

typedef struct {
	uint8_t items;
	uint16_t item[ITEMS]; /* right behind their number, as in a frame */
	uint8_t level, level_at_start;
	bool lost; /* edges, in this stretch */
} track_t;

extern track_t edges_track[TRACKS];
extern uint8_t edges_ring0[256];

void edges_start(void);
/* Works through what has come, when it is worth it, or in any case. */
void edges_task(void);
void edges_finish(void);
void edges_millisecond(void);
/* Drops what has come: the probe is behind, or only now begins to record. */
void edges_drop(void);
/* The next stretch begins where this one ends. */
void edges_next(void);

#endif
