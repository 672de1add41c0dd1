/* What heats is off when nobody looks after it: shorts and their time, the silence of the host, the watchdog. */
#ifndef GUARD_H
#define GUARD_H

#include <stdbool.h>
#include <stdint.h>

void guard_start(void);
void guard_task(void);
/* A valid frame has come. */
void guard_alive(void);
void guard_short(uint8_t track, bool on, uint16_t milliseconds);
void guard_supply(bool on);
/* Everything off, for the host has asked for it. */
void guard_safe(void);
uint32_t guard_uptime(void); /* ms */
uint8_t guard_reset_cause(void);

#endif
