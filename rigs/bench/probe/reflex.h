/* Pulses of the load that the probe fires by itself when it hears a packet: for links that are too slow to answer in time. */
#ifndef REFLEX_H
#define REFLEX_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"

enum { PACKET_MOST = 6 }; /* bytes of a packet, error byte included: S-9.2.1 A (July 2012) */

typedef struct {
	uint8_t bytes[PACKET_MOST];
	uint8_t length; /* 0: no rule */
	uint8_t track, run;
	uint8_t level;         /* steps of the load */
	uint16_t delay, width; /* 4 us */
	uint8_t heard;         /* identical packets in a row */
} rule_t;

extern uint8_t reflex_armed[TRACKS]; /* how many rules a track has */

void reflex_set(uint8_t i, const rule_t *rule);
void reflex_clear(void);
bool reflex_any(void);
void reflex_millisecond(void);
void reflex_edge(uint8_t track, uint8_t level, uint16_t at);
/* The same for entries of a ring of edges.c, all of them with voltage on the track. */
void reflex_edges(uint8_t track, uint8_t level, const uint8_t *ring, uint8_t from, uint8_t to);
/* What was heard so far is the beginning of nothing: edges were lost. */
void reflex_forget(uint8_t track);

#endif
