/* The current of each track: the channels take turns, each conversion at a time of the clock. */
#ifndef CURRENT_H
#define CURRENT_H

#include <stdbool.h>
#include <stdint.h>

/* Samples of a track that follow each other so many microseconds apart, or none for 0: the first one, of the first track,
 * as long after a tick as two follow each other. Those of before are stopped and dropped. */
void current_start(uint16_t interval, uint32_t from);
void current_stop(void);
void current_prepare(void);
void current_task(void);
/* Whether all samples before a tick are there. */
bool current_complete(uint32_t tick);

/* The samples that wait to be sent: those before a tick, how many, and of the first the time and the channel. */
uint8_t current_before(uint32_t tick, uint32_t *first, uint8_t *channel);
void current_take(uint16_t *into, uint8_t n);
/* What the stretch says of the distance between two. */
uint16_t current_spacing(void);
/* Whether some found no room since the last call. */
bool current_lost(void);

#endif
