#include "service.h"

#include "acknowledge.h"
#include "board.h"
#include "defects.h"
#include "power.h"
#include "track.h"

/* S-9.2.3 E: at least 20 valid packets after power on, 3 resets, 5 packets of the instruction, and in a write 6 more of it
 * or resets. Two resets follow here, the second while the answer to the first is awaited. */
enum { POWER_ON_PACKETS = 20, RESETS = 3, INSTRUCTIONS = 5, RECOVERY = 7, AFTER = 2, CLOSING = 2 };
/* The other methods write the page register first, 5 times, and 6 resets follow. They share what the one with most wants: 7 packets of
 * a verify, and 10 after a write. */
enum { PAGES = 5, PAGE_RECOVERY = 6, REGISTER_INSTRUCTIONS = 7, REGISTER_RECOVERY = 10 };

enum stage { AT_REST, POWERING_UP, RESETTING, PAGING, PAGE_RECOVERING, INSTRUCTING, RECOVERING, FOLLOWING, CLOSING_DOWN };
/* What becomes of the page register in an operation. */
enum page { PAGE_WANTED, PAGE_THERE, PAGE_PUT_BACK };

static struct {
	bool wanted;
	enum task task;
	enum method method;
	enum page page;
	uint16_t cv;
	uint8_t bit, value;
	enum outcome outcome;
	enum stage stage;
	uint8_t sent; /* packets of the stage */
	uint8_t step; /* of a read by direct mode: 0 to 7 for the bits, then 8 for the whole byte */
	uint8_t found;
	bool check; /* a write that nobody acknowledged is being verified */
	enum outcome ending;
} service;

uint8_t service_register(uint16_t cv)
{
	return cv <= 4 ? cv - 1 : cv == 29 ? 4 : cv == 7 || cv == 8 ? cv - 1 : NO_SUCH_REGISTER;
}

void service_begin(enum task task, enum method method, uint16_t cv, uint8_t bit, uint8_t value)
{
	service.task = task;
	service.method = method;
	service.page = method == DIRECT ? PAGE_THERE : PAGE_WANTED;
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

/* Page 256, of CV 1021 to 1024, is 0 in a byte. */
static uint8_t page_number(void) { return service.method == PAGED && service.page != PAGE_PUT_BACK ? (service.cv - 1) / 4 + 1 : 1; }

static bool writes(void) { return (service.task == WRITE || service.task == WRITE_BIT) && !service.check; }

static void instruction(packet_t *p)
{
	if (service.method != DIRECT) {
		packet_register(p, writes(), service.method == PAGED ? (service.cv - 1) & 3 : service_register(service.cv),
						service.task == READ ? service.found : service.value);
		return;
	}
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
	if (service.page != PAGE_PUT_BACK && page_number() != 1) {
		service.page = PAGE_PUT_BACK;
		sequence();
		return;
	}
	enter(CLOSING_DOWN);
}

/* What one sequence has shown decides what comes next. */
static void judge(void)
{
	const bool seen = acknowledge_seen();
	if (service.task == READ && service.method != DIRECT) {
		if (!seen && service.found < (service.method == ADDRESS ? 127 : 255)) {
			service.found++;
			sequence();
			return;
		}
	} else if (service.task == READ && service.step < 8) {
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
			enter(service.page == PAGE_THERE ? INSTRUCTING : PAGING);
		break;
	case PAGING:
		if (service.sent == PAGES)
			enter(PAGE_RECOVERING);
		break;
	case PAGE_RECOVERING:
		if (service.sent < PAGE_RECOVERY)
			break;
		if (service.page == PAGE_PUT_BACK) {
			close_down(service.ending);
			break;
		}
		service.page = PAGE_THERE;
		sequence();
		break;
	case INSTRUCTING:
		if (service.sent == (service.method == DIRECT || writes() ? INSTRUCTIONS : REGISTER_INSTRUCTIONS) ||
			(service.sent > 2 && acknowledge_seen()))
			enter(writes() ? RECOVERING : FOLLOWING);
		break;
	case RECOVERING:
		if (service.sent >= (service.method == DIRECT ? RECOVERY : REGISTER_RECOVERY) && !acknowledge_under_way())
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
	case PAGING:
		packet_register(&p, true, PAGE_REGISTER, page_number());
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
