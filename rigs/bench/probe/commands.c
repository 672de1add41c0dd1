#include "commands.h"

#include <avr/eeprom.h>
#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>
#include <util/crc16.h>

#include "board.h"
#include "clock.h"
#include "current.h"
#include "events.h"
#include "frame.h"
#include "guard.h"
#include "load.h"
#include "protocol.h"
#include "ratings.h"
#include "reflex.h"
#include "serial.h"
#include "stretch.h"

enum { VERSION = 0x0100 }; /* of the firmware */
/* Bit 0 edges, 1 tells off from a level, 2 current, 3 load, 4 short, 5 supply switch, 6 reflex. */
enum { FEATURES = 0x7F };
enum { THRESHOLD = 4000, OFF_DELAY = 10 * TICKS_PER_MICROSECOND }; /* mV, ticks: of the comparators that tell off */
enum { STRETCH_LEAST = 500, STRETCH_MOST = 4000, INTERVAL_LEAST = 100, INTERVAL_MOST = 60000, RUN_MOST = 10, PACKET_LEAST = 3 };

enum { ENOUGH = 128, TURNS = 8 }; /* bytes that wait to be read, half of what can; turns of the main loop */

/* A frame as it comes. The longest is a LOAD with all steps: type, sequence, track, mode, tick, count, steps, CRC. */
enum { FRAME_MOST = 2 + 7 + 4 * STEPS + 2 };

static uint8_t frame[FRAME_MOST];
static uint8_t length; /* bytes that have come, up to 255; those beyond FRAME_MOST are not kept */
static uint16_t crc;
static uint8_t left; /* bytes until the next code of the stuffing */
static bool zero;    /* that code stands for a zero */
static bool begun;
static bool complete; /* a frame waits for room for its answer */
static uint32_t ended; /* when its end came */
static bool timed;     /* and whether that is known */
static uint32_t serial_number;
static bool greeted; /* a HELLO has come */

void commands_start(void)
{
	serial_number = eeprom_read_dword(0); /* all ones until somebody writes one */
	crc = 0xFFFF;
}

static void next_frame(void)
{
	length = left = 0;
	crc = 0xFFFF;
	zero = begun = complete = false;
}

/* Takes up to most characters. True when a valid frame is complete: the CRC over a frame and its own CRC is zero. What a
 * loop needs is in registers: a long command at 2 Mbaud must not keep edges waiting. */
static bool collect(uint8_t most)
{
	const uint8_t *from;
	const uint8_t n = serial_look(&from, most);
	uint8_t l = length, to_go = left, ends = 0;
	uint16_t sum = crc;
	for (uint8_t i = 0; i < n; i++) {
		uint8_t c = *from++;
		if (c == 0) {
			ends++;
			if (begun && l >= 4 && to_go == 0 && sum == 0) {
				serial_take(i + 1, ends);
				length = l;
				return true;
			}
			if (begun)
				count(&counters.commands_broken, 1);
			next_frame();
			l = to_go = 0;
			sum = crc;
			continue;
		}
		if (to_go) {
			to_go--;
		} else {
			const bool stands_for_zero = zero;
			to_go = c - 1;
			zero = c != 0xFF;
			begun = true;
			if (!stands_for_zero)
				continue;
			c = 0;
		}
		sum = _crc_ccitt_update(sum, c);
		if (l < FRAME_MOST)
			frame[l] = c;
		if (l < 255)
			l++;
	}
	serial_take(n, ends);
	length = l;
	left = to_go;
	crc = sum;
	return false;
}

/* --- the payload --- */

static uint8_t at; /* of the byte to read next */

static uint8_t get(void) { return frame[at++]; }

static uint16_t get16(void)
{
	const uint8_t low = get();
	return (uint16_t)get() << 8 | low;
}

static uint32_t get32(void)
{
	const uint16_t low = get16();
	return (uint32_t)get16() << 16 | low;
}

/* Which track an identity means. TRACKS if none of ours. */
static uint8_t track_of(uint8_t id)
{
	uint8_t i = 0;
	while (i < TRACKS && track_id(i) != id)
		i++;
	return i;
}

/* --- answers --- */

static void refuse(enum refusal why)
{
	count(&counters.refused, 1);
	frame_begin(REFUSED);
	frame_put(frame[1]);
	frame_put(frame[0]);
	frame_put(why);
	frame_end();
}

static enum refusal done(uint32_t tick)
{
	frame_begin(DONE);
	frame_put(frame[1]);
	frame_put(frame[0]);
	frame_put32(tick);
	frame_end();
	return ACCEPTED;
}

static const char name[] PROGMEM = NAME;

static enum refusal hello(void)
{
	greeted = true;
	frame_begin(HELLO_ANSWER);
	frame_put(PROTOCOL);
	frame_put32(F_CPU);
	frame_put16(VERSION);
	frame_put32(serial_number);
	frame_put16(FEATURES);
	frame_put16(255); /* one place of the ring stays free */
	frame_put(STEPS);
	frame_put(REFLEXES);
	frame_put(sizeof name - 1);
	for (uint8_t i = 0; i < sizeof name - 1; i++)
		frame_put(pgm_read_byte(name + i));
	frame_put(TRACKS);
	for (uint8_t i = 0; i < TRACKS; i++) {
		frame_put(track_id(i));
		frame_put32(RATED(i, sense));
		frame_put16(0);
		frame_put16(1023);
		frame_put32(RATED(i, step));
		frame_put16(RATED(i, top));
		frame_put16(RATED(i, continuous));
		frame_put16(RATED(i, brief));
		frame_put16(RATED(i, resistance));
		frame_put16(RATED(i, most));
		frame_put16(THRESHOLD);
		frame_put16(OFF_DELAY);
	}
	frame_end();
	return ACCEPTED;
}

static enum refusal start(void)
{
	const uint16_t longest = get16(), interval = get16();
	if (longest < STRETCH_LEAST || longest > STRETCH_MOST)
		return RANGE;
	if (interval && (interval < INTERVAL_LEAST || interval > INTERVAL_MOST))
		return RANGE;
	if (!greeted)
		return ORDER;
	if (!stretch_stop())
		return LATER;
	return done(stretch_start(longest, interval));
}

static enum refusal stop(void)
{
	return stretch_stop() ? done(clock_now()) : LATER;
}

static enum refusal alive(void) { return ACCEPTED; }

static enum refusal sync(void)
{
	if (!timed)
		return BUSY;
	frame_begin(SYNC_ANSWER);
	frame_put(frame[1]);
	frame_put32(ended);
	frame_put32(get32());
	frame_end();
	return ACCEPTED;
}

static enum refusal status(void)
{
	frame_begin(STATUS_ANSWER);
	frame_put32(clock_now());
	frame_put32(guard_uptime());
	frame_put32(counters.edges_lost);
	frame_put16(counters.samples_lost);
	frame_put16(counters.frames_dropped);
	frame_put16(counters.commands_broken);
	frame_put16(counters.input_overruns);
	frame_put16(counters.refused);
	frame_put16(counters.opened_by_itself);
	frame_put(guard_reset_cause());
	frame_end();
	return ACCEPTED;
}

static enum refusal lay_load(void)
{
	const uint8_t id = get(), behind = get();
	uint32_t tick = get32();
	const uint8_t n = get();
	if (n <= STEPS && length != 2 + 7 + 4 * n + 2)
		return LENGTH;
	if (n > STEPS || behind > 1 || id > PROGRAMMING)
		return RANGE;
	const uint8_t i = track_of(id);
	step_t steps[STEPS];
	bool too_high = false;
	for (uint8_t k = 0; k < n; k++) {
		const uint16_t level = get16();
		too_high |= i < TRACKS && level > RATED(i, top);
		steps[k].level = level;
		steps[k].hold = get16();
		if (!steps[k].hold && k < n - 1)
			return RANGE;
	}
	if (!greeted)
		return ORDER;
	if (i == TRACKS)
		return NOT_FITTED;
	if (too_high)
		return RANGE;
	return load_queue(i, behind, &tick, steps, n) ? done(tick) : BUSY;
}

static enum refusal lay_short(void)
{
	const uint8_t id = get(), on = get();
	const uint16_t most = get16();
	if (id > PROGRAMMING || on > 1 || (on && most == 0))
		return RANGE;
	if (!greeted)
		return ORDER;
	const uint8_t i = track_of(id);
	if (i == TRACKS)
		return NOT_FITTED;
	if (on && most > RATED(i, most))
		return RANGE;
	guard_short(i, on, most);
	return done(clock_now());
}

static enum refusal supply(void)
{
	const uint8_t on = get();
	if (on > 1)
		return RANGE;
	if (!greeted)
		return ORDER;
	guard_supply(on);
	return done(clock_now());
}

static enum refusal mark(void)
{
	const uint16_t id = get16();
#ifdef DEFECT_hang
	if (id == 0xDEAD)
		for (;;)
			;
#endif
	frame_begin(MARK_ANSWER);
	frame_put16(id);
	frame_put32(clock_now());
	frame_end();
	return ACCEPTED;
}

static enum refusal reflex(void)
{
	const uint8_t id = get(), i = get();
	rule_t r = {.run = get()};
	r.delay = get16();
	const uint16_t level = get16();
	r.width = get16();
	r.length = get();
	if (r.length <= PACKET_MOST && length != 2 + 10 + r.length + 2)
		return LENGTH;
	if (id > PROGRAMMING || r.length > PACKET_MOST)
		return RANGE;
	if (r.length && (r.run == 0 || r.run > RUN_MOST || r.length < PACKET_LEAST))
		return RANGE;
	if (!greeted)
		return ORDER;
	r.track = track_of(id);
	if (r.track == TRACKS)
		return NOT_FITTED;
	if (i >= REFLEXES || (r.length && level > RATED(r.track, top)))
		return RANGE;
	for (uint8_t k = 0; k < r.length; k++)
		r.bytes[k] = get();
	r.level = level;
	reflex_set(i, &r);
	return done(clock_now());
}

static enum refusal safe(void)
{
	guard_safe();
	return done(clock_now());
}

/* The length of the payload; of LOAD and REFLEX, at least. */
static const struct {
	uint8_t type, payload, more;
	enum refusal (*carry_out)(void);
} command[] PROGMEM = {
	{HELLO, 1, 0, hello},  {START, 4, 0, start},          {STOP, 0, 0, stop},     {ALIVE, 0, 0, alive},
	{SYNC, 4, 0, sync},    {STATUS, 0, 0, status},        {LOAD, 7, 1, lay_load}, {SHORT, 4, 0, lay_short},
	{SUPPLY, 1, 0, supply}, {MARK, 2, 0, mark},           {REFLEX, 10, 1, reflex}, {SAFE, 0, 0, safe},
};

static enum refusal carry_out(void)
{
	for (uint8_t i = 0; i < sizeof command / sizeof *command; i++) {
		if (pgm_read_byte(&command[i].type) != frame[0])
			continue;
		const uint8_t payload = length - 4, least = pgm_read_byte(&command[i].payload);
		if (length > FRAME_MOST || payload < least || (payload > least && !pgm_read_byte(&command[i].more)))
			return LENGTH;
		at = 2;
		return ((enum refusal(*)(void))pgm_read_word(&command[i].carry_out))();
	}
	return UNKNOWN;
}

void commands_task(void)
{
	const uint8_t lost = serial_lost();
	if (lost)
		count(&counters.input_overruns, lost);
	/* While stretches are late, commands can wait, as long as there is room for more of them; but not for ever. */
	static uint8_t turns;
	if (stretch_late() && serial_waiting() < ENOUGH && ++turns < TURNS)
		return;
	turns = 0;
	if (!complete && collect(32)) {
		complete = true;
		guard_alive();
		timed = serial_end_time(&ended);
	}
	if (!complete || !frame_room())
		return;
	const enum refusal why = carry_out();
	if (why == LATER)
		return;
	if (why != ACCEPTED)
		refuse(why);
	next_frame();
}
