/* The power of the two outputs: what was asked for, trips, and the tries after them. */
#ifndef POWER_H
#define POWER_H

#include <stdbool.h>
#include <stdint.h>

enum power { POWER_OFF, POWER_ON, POWER_TRIPPED };

void power_on(uint8_t output);
void power_off(uint8_t output);
void power_tripped(uint8_t output); /* in an interrupt; the output is cut already */
enum power power_state(uint8_t output);
void power_task(void);

#endif
