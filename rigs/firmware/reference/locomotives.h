/* The refresh list: what the station was last told about each locomotive. */
#ifndef LOCOMOTIVES_H
#define LOCOMOTIVES_H

#include <stdbool.h>
#include <stdint.h>

#include "packet.h"

enum { LOCOMOTIVES = 32 };

typedef struct {
	address_t address;      /* 0 for a free place */
	uint8_t steps;          /* 28 or 128; 0 while no speed was set */
	uint8_t step;
	bool forward;
	bool functions_next;    /* a function group is refreshed next, not the speed */
	uint8_t groups;         /* that were ever set, one bit each */
	uint8_t turn;           /* the group that is refreshed next */
	uint32_t functions;     /* bit n is Fn */
} locomotive_t;

locomotive_t *locomotive_find(address_t a);
locomotive_t *locomotive_enter(address_t a); /* a new one if need be, or null when the list is full */
void locomotive_release(address_t a);
void locomotives_stop(void);
void locomotives_clear(void);

/* The next packet of the refresh, and whose it is; no packet for but. False when there is none. */
bool locomotives_refresh(packet_t *p, address_t *whose, address_t but, address_t nor);

#endif
