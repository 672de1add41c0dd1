/* What the parts on the board bear, and what a count and a step mean: our own choice, for the parts that ../README.md
 * names. Who fits others changes ratings.c; the host reads it all from the HELLO. */
#ifndef RATINGS_H
#define RATINGS_H

#include <avr/pgmspace.h>
#include <stdint.h>

#include "board.h"

typedef struct {
	uint8_t id;
	uint32_t sense;      /* uA a count */
	uint32_t step;       /* uA a step of the load */
	uint8_t top;         /* steps */
	uint8_t continuous;  /* the highest step for ever */
	uint16_t brief;      /* ms that the load may be above it */
	uint16_t resistance; /* of the short, mOhm */
	uint16_t most;       /* ms that the short may stay closed */
} rating_t;

extern const rating_t rating[TRACKS]; /* in flash */

#define RATED(i, field)                                                                                                \
	(sizeof rating[0].field == 1   ? pgm_read_byte(&rating[i].field)                                               \
	 : sizeof rating[0].field == 2 ? pgm_read_word(&rating[i].field)                                               \
	                               : pgm_read_dword(&rating[i].field))

static inline uint8_t track_id(uint8_t i) { return RATED(i, id); }

#endif
