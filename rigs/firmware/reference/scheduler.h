/* What the main track says next: the power-up sequence, then commands, then the refresh, then idle. */
#ifndef SCHEDULER_H
#define SCHEDULER_H

#include <stdbool.h>
#include <stdint.h>

#include "packet.h"

/* Whom a packet is for. Locomotives have their address; accessories their decoder's beyond these. */
enum { NOBODY = 0, EVERYBODY = 0x7FFF, ACCESSORIES = 0x8000 };

/* A later command takes the place of one of the same kind to the same decoder that still waits. */
enum kind { SPEED, STOP, FUNCTIONS, ACCESSORY = FUNCTIONS + GROUPS, MAIN_WRITE };

void scheduler_reset(void); /* forgets everything; the power-up sequence is due again */
void scheduler_task(void);

bool scheduler_full(void);
void scheduler_send(const packet_t *p, uint16_t whose, uint8_t kind);
void scheduler_drop(uint16_t whose); /* NOBODY drops all */
void scheduler_drop_motion(void);
bool scheduler_empty(void);

#endif
