#include "frame.h"

#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"
#include "characters.h"

static uint8_t page[2][PAGE];
static uint8_t filling; /* the page that is written, or written next */
static uint8_t sequence;

/* The frame that is being written. Shared with frame_put.S. */
struct {
	uint8_t *at;   /* where the next byte goes */
	uint8_t *code; /* the place of the last zero, for the distance to the next one */
	uint16_t crc;
} frame_state;

/* Shared with characters.S. */
volatile uint8_t frame_sending; /* a page is on its way */
volatile uint8_t frame_waits;   /* the other one is complete and waits for its end */
uint8_t *volatile frame_next;
volatile uint8_t frame_next_length;

/* Sending that has waited for characters to come, goes on. */
void frame_task(void)
{
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		if (frame_sending)
			UCSR0B = CHARACTERS_IN | _BV(UDRIE0);
	}
}

bool frame_room(void) { return !frame_waits; }

void frame_begin(uint8_t type)
{
	frame_state.code = page[filling];
	frame_state.at = page[filling] + 1;
	frame_state.crc = 0xFFFF;
	frame_put(type);
	frame_put(sequence++);
}

void frame_put(uint8_t b) { frame_bytes(&b, 1); }
void frame_put16(uint16_t w) { frame_bytes(&w, 2); }
void frame_put32(uint32_t w) { frame_bytes(&w, 4); }

void frame_end(void)
{
	frame_put16(frame_state.crc);
	*frame_state.code = frame_state.at - frame_state.code;
	*frame_state.at++ = 0;
	uint8_t *const from = page[filling];
	const uint8_t length = frame_state.at - from;
	filling ^= 1;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		if (frame_sending) {
			frame_next = from;
			frame_next_length = length;
			frame_waits = 1;
		} else {
			frame_sending = 1;
			__asm__ volatile("movw r4, %0\n\t"
					 "mov r6, %1" : : "r"(from), "r"(length) : "memory");
			UCSR0B = CHARACTERS_IN | _BV(UDRIE0);
		}
	}
}
