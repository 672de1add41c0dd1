/* The two outputs: bit generators in the interrupts of two timers. */
#ifndef TRACK_H
#define TRACK_H

#include "board.h"
#include "packet.h"

void track_start(void); /* once: timers and pins, with both outputs off */

/* Power. It goes off after the packet on its way, for S-9.2 C (July 2004) lets nothing be cut in its middle; a cut is for
 * overloads and takes effect at once. */
void track_on(uint8_t output);
void track_off(uint8_t output);
void track_cut(uint8_t output);
bool track_powered(uint8_t output);

/* The packet after the one on its way. There is room for one; until the next is there the output says ones. */
bool track_wants(uint8_t output);
void track_send(uint8_t output, const packet_t *p);

#endif
