#include "scheduler.h"

#include <avr/interrupt.h>
#include <string.h>

#include "board.h"
#include "defects.h"
#include "locomotives.h"
#include "power.h"
#include "track.h"

/* RP-9.2.4 A: at least 20 resets, then at least 10 idles, before any packet with operating instructions. */
enum { RESETS = 20, IDLES = 10 };

/* How often a command is sent: our own choice, but for writes on the main: S-9.2.1 C (July 2012) wants two. */
enum { REPEATS = 3, STOP_REPEATS = 4, WRITE_REPEATS = 2, WAITING = 10 };

typedef struct {
	packet_t packet;
	uint16_t whose;
	uint8_t kind;
	uint8_t copies; /* still to send */
	uint8_t sent;
} command_t;

static command_t command[WAITING];
static uint8_t commands;
static uint8_t resets, idles; /* of the power-up sequence, still to send */
static uint16_t last;         /* who had the packet before: nobody has two in a row, which keeps them 5 ms apart (NEM 671) */

void scheduler_reset(void)
{
	commands = 0;
	locomotives_clear();
	resets = RESETS;
	idles = IDLES;
}

bool scheduler_full(void) { return commands == WAITING; }
bool scheduler_empty(void) { return commands == 0; }

static void take_out(uint8_t i)
{
	commands--;
	memmove(&command[i], &command[i + 1], (commands - i) * sizeof *command);
}

void scheduler_drop(uint16_t whose)
{
	for (uint8_t i = commands; i-- > 0;)
		if (whose == NOBODY || command[i].whose == whose)
			take_out(i);
}

void scheduler_drop_motion(void)
{
	for (uint8_t i = commands; i-- > 0;)
		if (command[i].kind == SPEED || command[i].kind == STOP)
			take_out(i);
}

void scheduler_send(const packet_t *p, uint16_t whose, uint8_t kind)
{
	uint8_t i = 0;
	while (i < commands && !(command[i].whose == whose && command[i].kind == kind && kind < ACCESSORY))
		i++;
	/* Stops always find room: the youngest other command makes it. */
	if (i == WAITING)
		i--;
	else if (i == commands)
		commands++;
	command[i] = (command_t){
		.packet = *p,
		.whose = whose,
		.kind = kind,
		.copies = kind == STOP ? STOP_REPEATS : kind == MAIN_WRITE ? WRITE_REPEATS : REPEATS,
	};
}

/* A pair of writes has begun to this decoder: nothing else may go to it in between, S-9.2.1 C. */
static uint16_t paired(void)
{
	for (uint8_t i = 0; i < commands; i++)
		if (command[i].kind == MAIN_WRITE && command[i].sent == 1)
			return command[i].whose;
	return NOBODY;
}

/* Stops of all first, then what was sent least often. */
static bool next_command(packet_t *p)
{
	const uint16_t pair = paired();
	uint8_t best = WAITING;
	for (uint8_t i = 0; i < commands; i++) {
		const command_t *c = &command[i];
		if (c->whose == EVERYBODY) {
			best = i;
			break;
		}
		if (c->whose == last || (c->whose == pair && !(c->kind == MAIN_WRITE && c->sent == 1)))
			continue;
		if (best == WAITING || c->sent < command[best].sent)
			best = i;
	}
	if (best == WAITING)
		return false;
	command_t *c = &command[best];
	*p = c->packet;
	last = c->whose;
	c->sent++;
	if (c->whose == EVERYBODY) /* cuts a pair in two: it begins again */
		for (uint8_t i = 0; i < commands; i++)
			if (command[i].kind == MAIN_WRITE && command[i].sent == 1) {
				command[i].sent = 0;
				command[i].copies++;
			}
	if (--c->copies == 0)
		take_out(best);
	return true;
}

static void next(packet_t *p)
{
	if (resets > 0) {
		resets--;
		packet_reset(p);
	} else if (idles > 0) {
		idles--;
		packet_idle(p);
	} else if (!next_command(p)) {
		address_t whose;
		if (locomotives_refresh(p, &whose, last, paired())) {
			last = whose;
		} else {
			last = NOBODY;
			packet_idle(p);
		}
	}
}

void scheduler_task(void)
{
	if (power_state(MAIN) != POWER_ON || !track_wants(MAIN))
		return;
	packet_t p;
	if (HAS(SEARCH_WITH_INTERRUPTS_OFF)) {
		cli();
		defect_search();
	}
	next(&p);
	track_send(MAIN, &p);
	if (HAS(SEARCH_WITH_INTERRUPTS_OFF))
		sei();
}
