/* The reference firmware: a station with a main and a programming track. Interrupts make the bits, read the currents and
 * move characters; this loop does all the rest, and nothing in it waits for long. */
#include <avr/interrupt.h>

#include "clock.h"
#include "current.h"
#include "defects.h"
#include "language.h"
#include "power.h"
#include "scheduler.h"
#include "serial.h"
#include "service.h"
#include "track.h"

int main(void)
{
	if (DEFECT != NO_DEFECT)
		defect_start();
	clock_start();
	serial_start();
	track_start();
	current_start();
	language_start();
	sei();
	for (;;) {
		if (DEFECT != NO_DEFECT)
			defect_task();
		power_task();
		scheduler_task();
		service_task();
		language_task();
	}
}
