/* The acknowledge of a decoder: S-9.2.3 D (July 2012), an increase of at least 60 mA for 6 ms +- 1 ms. */
#ifndef ACKNOWLEDGE_H
#define ACKNOWLEDGE_H

#include <stdbool.h>
#include <stdint.h>

void acknowledge_restart(void);      /* before the resets of a sequence */
void acknowledge_cue(uint8_t cue);   /* in the interrupt that begins a packet */
void acknowledge_reading(uint16_t counts); /* in the interrupt of the converter */
bool acknowledge_seen(void);
bool acknowledge_under_way(void);    /* a pulse has begun and is not judged yet */

#endif
