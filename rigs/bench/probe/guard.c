#include "guard.h"

#include <avr/io.h>
#include <avr/wdt.h>

#include "board.h"
#include "clock.h"
#include "edges.h"
#include "events.h"
#include "load.h"
#include "ratings.h"
#include "reflex.h"
#include "stretch.h"

/* The host is silent when its last valid frame is 100 ms old. A millisecond less, so that everything is open by then. */
#define SILENT (99 * TICKS_PER_MILLISECOND)
enum { GONE = 1000 }; /* ms of silence after which nobody listens */

static uint8_t cause;
static uint32_t alive; /* tick of the last valid frame */
static bool spoken; /* one has come */
static bool silent;
static uint16_t silence; /* ms since then, up to GONE */
static uint32_t millisecond, uptime;
static struct {
	bool closed;
	uint32_t until;
} laid[TRACKS];

/* Before main: a watchdog that has bitten stays on, with its shortest time. */
uint8_t guard_mcusr __attribute__((section(".noinit")));
void guard_first(void) __attribute__((naked, used, section(".init3")));
void guard_first(void)
{
	guard_mcusr = MCUSR;
	MCUSR = 0;
	wdt_disable();
}

static void gate(uint8_t i, bool on)
{
#if TRACKS == 2
	if (i) {
		if (on)
			SHORT_PORT |= _BV(SHORT1_BIT);
		else
			SHORT_PORT &= ~_BV(SHORT1_BIT);
		return;
	}
#endif
	(void)i;
	if (on)
		SHORT_PORT |= _BV(SHORT0_BIT);
	else
		SHORT_PORT &= ~_BV(SHORT0_BIT);
}

void guard_start(void)
{
	cause = guard_mcusr;
	SHORT_DDR |= _BV(SHORT0_BIT);
#if TRACKS == 2
	SHORT_DDR |= _BV(SHORT1_BIT);
#endif
	SUPPLY_DDR |= _BV(SUPPLY_BIT);
	alive = millisecond = clock_now();
	wdt_enable(WDTO_30MS);
}

void guard_alive(void)
{
	alive = clock_now();
	silence = 0;
	silent = false;
	spoken = true;
}

void guard_short(uint8_t i, bool on, uint16_t milliseconds)
{
	laid[i].closed = on;
	laid[i].until = clock_now() + milliseconds * TICKS_PER_MILLISECOND;
	gate(i, on);
}

void guard_supply(bool on)
{
	if (on)
		SUPPLY_PORT &= ~_BV(SUPPLY_BIT);
	else
		SUPPLY_PORT |= _BV(SUPPLY_BIT);
}

void guard_safe(void)
{
	for (uint8_t i = 0; i < TRACKS; i++) {
		guard_short(i, false, 0);
		load_off(i);
	}
	reflex_clear();
	guard_supply(true);
}

/* Opens what is closed; a track at a time, shorts first. */
static void open_all(uint32_t now)
{
	for (uint8_t i = 0; i < TRACKS; i++) {
		if (!laid[i].closed)
			continue;
		guard_short(i, false, 0);
		count(&counters.opened_by_itself, 1);
		event_tell(SHORT_SILENT, track_id(i), 0, now);
	}
	for (uint8_t i = 0; i < TRACKS; i++) {
		if (!load_on(i))
			continue;
		load_off(i);
		event_tell(LOAD_SILENT, track_id(i), 0, now);
	}
	if (reflex_any()) {
		reflex_clear();
		event_tell(REFLEX_SILENT, 0, 0, now);
	}
}

static void each_millisecond(void)
{
	uptime++;
	load_millisecond();
	edges_millisecond();
	reflex_millisecond();
	if (spoken && silence < GONE && ++silence == GONE) {
		stretch_stop();
		guard_supply(true); /* a host that has died meanwhile must not leave the station without it */
	}
}

void guard_task(void)
{
	wdt_reset();
	const uint32_t now = clock_now();
	for (uint8_t i = 0; i < TRACKS; i++)
		if (laid[i].closed && (int32_t)(now - laid[i].until) >= 0) {
			guard_short(i, false, 0);
			count(&counters.opened_by_itself, 1);
			event_tell(SHORT_TIME, track_id(i), 0, now);
		}
	if (spoken && !silent && now - alive >= SILENT) {
		silent = true;
		open_all(now);
	}
	if (now - millisecond >= TICKS_PER_MILLISECOND) {
		millisecond += TICKS_PER_MILLISECOND;
		each_millisecond();
	}
}

uint32_t guard_uptime(void) { return uptime; }
uint8_t guard_reset_cause(void) { return cause; }
