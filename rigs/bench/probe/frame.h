/* Frames to the host: type, sequence number, payload, CRC, stuffed so that a zero is their end and nothing else (COBS), in two
 * pages: one is sent while the other is filled. */
#ifndef FRAME_H
#define FRAME_H

#include <stdbool.h>
#include <stdint.h>

void frame_task(void);
/* Whether there is a page to fill. */
bool frame_room(void);
void frame_begin(uint8_t type);
void frame_put(uint8_t b);
void frame_put16(uint16_t w);
void frame_put32(uint32_t w);
/* Bytes as they are in memory: the hot path, in frame_put.S. */
void frame_bytes(const void *from, uint8_t n);
void frame_end(void);

#endif
