#include "service.h"

#include "acknowledge.h"
#include "board.h"
#include "defects.h"
#include "power.h"
#include "track.h"

/* S-9.2.3 E: at least 20 valid packets after power on, 3 resets, 5 packets of the instruction, and in a write 6 more of it
 * or resets. Two resets follow here, the second while the answer to the first is awaited. */
enum { POWER_ON_PACKETS = 20, RESETS = 3, INSTRUCTIONS = 5, RECOVERY = 7, AFTER = 2, CLOSING = 2 };

enum stage { AT_REST, POWERING_UP, RESETTING, INSTRUCTING, RECOVERING, FOLLOWING, CLOSING_DOWN };

static struct {
	bool wanted;
	enum task task;
	uint16_t cv;
	uint8_t bit, value;
	enum outcome outcome;
	enum stage stage;
	uint8_t sent; /* packets of the stage */
	uint8_t step; /* of a read: 0 to 7 for the bits, then 8 for the whole byte */
	uint8_t found;
	bool check; /* a write that nobody acknowledged is being verified */
	enum outcome ending;
} service;

void service_begin(enum task task, uint16_t cv, uint8_t bit, uint8_t value)
{
	service.task = task;
	service.cv = cv;
	service.bit = bit;
	service.value = value;
	service.step = service.found = 0;
	service.check = false;
	service.outcome = RUNNING;
	service.stage = POWERING_UP;
	service.sent = 0;
	acknowledge_restart();
	power_on(PROGRAMMING);
}

enum outcome service_outcome(void) { return service.outcome; }
uint8_t service_value(void) { return service.found; }
void service_want(bool power) { service.wanted = power; }
bool service_wanted(void) { return service.wanted; }

bool service_tripped(void)
{
	if (service.stage != AT_REST) {
		service.stage = AT_REST;
		service.outcome = TRIPPED;
	}
	return !service.wanted;
}

static void instruction(packet_t *p)
{
	switch (service.task) {
	case READ:
		if (service.step < 8)
			packet_bit(p, service.cv, service.step, true, false);
		else
			packet_verify(p, service.cv, service.found);
		break;
	case VERIFY:
		packet_verify(p, service.cv, service.value);
		break;
	case WRITE:
		if (service.check)
			packet_verify(p, service.cv, service.value);
		else
			packet_write(p, service.cv, service.value);
		break;
	case WRITE_BIT:
		packet_bit(p, service.cv, service.bit, service.value, !service.check);
		break;
	}
}

static void enter(enum stage stage)
{
	service.stage = stage;
	service.sent = 0;
}

static void sequence(void)
{
	acknowledge_restart();
	enter(RESETTING);
}

static void close_down(enum outcome ending)
{
	service.ending = ending;
	enter(CLOSING_DOWN);
}

/* What one sequence has shown decides what comes next. */
static void judge(void)
{
	const bool seen = acknowledge_seen();
	if (service.task == READ && service.step < 8) {
		if (seen)
			service.found |= 1 << service.step;
		service.step++;
		sequence();
		return;
	}
	/* A decoder may leave a write unacknowledged, S-9.2.3 E: ask it what it has. */
	if (!seen && !service.check && (service.task == WRITE || service.task == WRITE_BIT)) {
		service.check = true;
		sequence();
		return;
	}
	close_down(seen ? ACKNOWLEDGED : NOT_ACKNOWLEDGED);
}

/* Goes on to the next stage when enough was sent. */
static void advance(void)
{
	switch (service.stage) {
	case POWERING_UP:
		if (service.sent == POWER_ON_PACKETS)
			sequence();
		break;
	case RESETTING:
		if (service.sent == RESETS)
			enter(INSTRUCTING);
		break;
	case INSTRUCTING:
		if (service.sent == INSTRUCTIONS || (service.sent > 2 && acknowledge_seen()))
			enter((service.task == WRITE || service.task == WRITE_BIT) && !service.check ? RECOVERING : FOLLOWING);
		break;
	case RECOVERING:
		if (service.sent >= RECOVERY && !acknowledge_under_way())
			judge();
		break;
	case FOLLOWING:
		if (service.sent >= AFTER && !acknowledge_under_way())
			judge();
		break;
	case CLOSING_DOWN:
		if (service.sent == CLOSING) {
			service.stage = AT_REST;
			service.outcome = service.ending;
			if (!service.wanted)
				power_off(PROGRAMMING);
		}
		break;
	case AT_REST:
		break;
	}
}

void service_task(void)
{
	if (power_state(PROGRAMMING) != POWER_ON || !track_wants(PROGRAMMING))
		return;
	packet_t p;
	advance();
	service.sent++;
	switch (service.stage) {
	case AT_REST:
		packet_idle(&p);
		if (!service.wanted)
			return;
		break;
	case INSTRUCTING:
		instruction(&p);
		/* S-9.2.3 D: an acknowledge counts from the end of the second packet on. */
		if (service.sent == 3)
			p.cue = OPEN_WINDOW;
		if (HAS(EARLY_WINDOW) && service.sent == 2)
			acknowledge_cue(OPEN_WINDOW);
		break;
	case POWERING_UP:
	case RESETTING:
		packet_reset(&p);
		p.cue = END_BASELINE;
		break;
	default:
		packet_reset(&p);
	}
	track_send(PROGRAMMING, &p);
}
