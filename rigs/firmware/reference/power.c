#include "power.h"

#include <util/atomic.h>

#include "board.h"
#include "clock.h"
#include "current.h"
#include "defects.h"
#include "scheduler.h"
#include "service.h"
#include "track.h"

#define RETRY_MS 970 /* our own choice; the station file declares a second */

static volatile struct {
	enum power state;
	uint16_t since; /* when it tripped */
	bool told;      /* whoever works on that track knows of the trip */
} output_power[OUTPUTS];

void power_on(uint8_t output)
{
	if (output_power[output].state == POWER_ON && track_powered(output)) {
		track_on(output); /* takes back a power off that waits for the end of the packet */
		return;
	}
	current_forget(output);
	output_power[output].state = POWER_ON;
	track_on(output);
}

void power_off(uint8_t output)
{
	output_power[output].state = POWER_OFF;
	track_off(output);
}

void power_tripped(uint8_t output)
{
	output_power[output].state = POWER_TRIPPED;
	output_power[output].since = clock_now();
	output_power[output].told = false;
}

enum power power_state(uint8_t output) { return output_power[output].state; }

void power_task(void)
{
	for (uint8_t i = 0; i < OUTPUTS; i++) {
		if (power_state(i) != POWER_TRIPPED)
			continue;
		if (!output_power[i].told) {
			output_power[i].told = true;
			if (i == MAIN)
				scheduler_drop(NOBODY);
			if (i == PROGRAMMING && service_tripped())
				output_power[i].state = POWER_OFF; /* the power was the operation's, and that is over */
			continue;
		}
		if (HAS(WATCHDOG_LEAVES_DC))
			defect_wait(RETRY_MS);
		uint16_t since;
		ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
		{
			since = output_power[i].since;
		}
		if ((uint16_t)(clock_now() - since) >= RETRY_MS)
			power_on(i);
	}
}
