/* Packets, as they go to the bit generator. */
#ifndef PACKET_H
#define PACKET_H

#include <stdbool.h>
#include <stdint.h>

enum { PACKET_MOST = 6 }; /* bytes, the error byte included: S-9.2.1 */

/* What is to be done at the end of the packet before, when the preamble of this one begins. */
enum cue {
	NO_CUE,
	END_BASELINE, /* a stretch of the current at rest ends here */
	OPEN_WINDOW,  /* from here on an acknowledge counts */
};

typedef struct {
	uint8_t bytes[PACKET_MOST];
	uint8_t length;
	uint8_t cue;
} packet_t;

/* A locomotive's address with its kind: 128 and up are long ones, as the language has it. */
typedef uint16_t address_t;

void packet_idle(packet_t *p);
void packet_reset(packet_t *p);
void packet_stop_all(packet_t *p);
void packet_speed(packet_t *p, address_t a, uint8_t steps, uint8_t step, bool forward, bool emergency);
void packet_functions(packet_t *p, address_t a, uint8_t group, uint32_t states);
void packet_accessory(packet_t *p, uint16_t number, bool output);
void packet_aspect(packet_t *p, uint16_t number, uint8_t aspect);
void packet_main_write(packet_t *p, address_t a, uint16_t cv, uint8_t value);

/* Service mode, direct: S-9.2.3 E (July 2012). */
void packet_verify(packet_t *p, uint16_t cv, uint8_t value);
void packet_write(packet_t *p, uint16_t cv, uint8_t value);
void packet_bit(packet_t *p, uint16_t cv, uint8_t bit, bool value, bool write);

/* The other methods: a register counts from 0, and PAGE_REGISTER has the page of the others. */
enum { PAGE_REGISTER = 5 };
void packet_register(packet_t *p, bool write, uint8_t which, uint8_t value);

/* The function groups, in the order of their first functions: F0-F4, F5-F8, F9-F12, F13-F20, F21-F28. */
enum { GROUPS = 5 };
uint8_t group_of(uint8_t function);

#endif
