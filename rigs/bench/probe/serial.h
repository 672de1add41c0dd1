/* The serial line: characters in. Those out are frame.c's. */
#ifndef SERIAL_H
#define SERIAL_H

#include <stdbool.h>
#include <stdint.h>

void serial_start(void);
/* Characters that have come and are not taken yet, as they are in memory; how many can be taken is returned, up to most. */
uint8_t serial_look(const uint8_t **first, uint8_t most);
uint8_t serial_waiting(void);
/* Takes some of them, among which are so many zeros. */
void serial_take(uint8_t n, uint8_t ends);
/* When the last zero came that was taken. False when nobody knows any more, for too many have come since. */
bool serial_end_time(uint32_t *tick);
/* Characters that came broken or too fast since the last call, 0 to 255, and whether some found no room. */
uint8_t serial_lost(void);

#endif
