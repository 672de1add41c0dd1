/* Milliseconds since the start, modulo 65536. */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdint.h>

void clock_start(void);
uint16_t clock_now(void);

#endif
