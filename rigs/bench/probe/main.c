/* The firmware of the capture probe. Interrupts note edges, start and end steps of the load, take samples and move
 * characters; this loop makes frames of what they noted, and does what the host asks for. Nothing in it waits. */
#include <avr/interrupt.h>

#include "clock.h"
#include "commands.h"
#include "current.h"
#include "edges.h"
#include "events.h"
#include "frame.h"
#include "guard.h"
#include "load.h"
#include "serial.h"
#include "stretch.h"

int main(void)
{
	clock_start();
	load_start();
	guard_start();
	serial_start();
	current_prepare();
	commands_start();
	edges_start();
	sei();
	for (;;) {
		guard_task();
		frame_task();
		edges_task();
		current_task();
		load_task();
		stretch_task();
		commands_task();
		events_task();
	}
}
