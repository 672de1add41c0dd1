/* Ways in which firmware like this goes wrong, for the tests of the suites: -DDEFECT=NAME builds one in. Healthy firmware
 * is built without, and the compiler leaves nothing of them in it. Readers who learn from this code may read past every
 * HAS(...). What each breaks is in ../defects.go. */
#ifndef DEFECTS_H
#define DEFECTS_H

#include <stdbool.h>
#include <stdint.h>

enum {
	NO_DEFECT,

	/* The receive interrupt sums up the last 24 characters at each one, so that a check is at hand when the line ends. It takes
	 * forty microseconds, and with others that wait it is more than the half of a one. */
	LONG_RECEIVE_INTERRUPT,
	/* The mean of the current at rest is computed where it is wanted, in the interrupt that begins a packet. It has 32-bit
	 * divisions, of forty microseconds each. */
	DIVISION_IN_INTERRUPT,
	/* The flag that says that a packet is ready is set before the packet is copied, and the interrupt comes in between. */
	TORN_PACKET,
	/* The next conversion is started before the channel is changed. The channel counts at the start, so each reading is
	 * taken for one of the other output. */
	WRONG_CHANNEL,
	/* The readings are smoothed before an acknowledge is looked for, because they looked noisy on the bench: the filter is
	 * slower than the pulse. */
	SLOW_ACKNOWLEDGE,
	/* The window for an acknowledge is opened when the packet is handed over, not when it is sent: a packet too early. */
	EARLY_WINDOW,
	/* The filter of the current was made slower by more bits of fraction, and its 16 bits were not made more. */
	FILTER_OVERFLOW,
	/* Counts times 5000 are computed in int, which has 16 bits on this processor. */
	MILLIAMPERES_OVERFLOW,
	/* 1 << function is of type int: there is no bit 16 in it, and bit 15 is a sign, which is extended. */
	SHIFT_OF_INT,
	/* The refresh looks for its next locomotive by recursion. Each locomotive costs a frame of stack, and nobody counted. */
	STACK_OVERFLOW,
	/* The wait before a retry is a loop that does not feed the watchdog. After its reset the firmware takes up where it was,
	 * and the first thing is power on the rails: before the timers make a signal of it. */
	WATCHDOG_LEAVES_DC,
	/* Speeds are kept in the EEPROM for the next start, and the wait of 3.4 ms for each byte is inside the block that was
	 * to protect the timed sequence of its registers. */
	EEPROM_WAIT,
	/* A cut stops the bits where they are, and power goes on with the rest of the packet. */
	RESUMES_IN_PACKET,
	/* The main loop judges the current, when it comes by. */
	TRIP_IN_MAIN_LOOP,
	/* A trip is told in the interrupt that finds it. The line is sent by an interrupt, too, which cannot come meanwhile: when
	 * the text is longer than the ring, the firmware stops for ever. */
	TRIP_TOLD_IN_INTERRUPT,
	/* All of the list is looked through for the one that has waited longest, with interrupts off, since one day the interrupt
	 * might read it. */
	SEARCH_WITH_INTERRUPTS_OFF,
	/* The ring for characters was made small to save memory, and what does not fit is lost without a word: a stop as well. */
	SHORT_RING,
};

#ifndef DEFECT
#define DEFECT NO_DEFECT
#endif

#define HAS(name) (DEFECT == (name))

/* The work of defects, in defects.c. */
void defect_start(void);
void defect_task(void);                             /* in the main loop */
bool defect_millisecond(void);                      /* TORN_PACKET: the first look in a millisecond */
void defect_frames(uint8_t n);                      /* STACK_OVERFLOW: n frames of stack */
void defect_wait(uint16_t milliseconds);            /* WATCHDOG_LEAVES_DC: without a bone for the dog */
void defect_keep(uint16_t address, uint8_t step);   /* EEPROM_WAIT */
void defect_overload(uint8_t output);               /* TRIP_IN_MAIN_LOOP: to be seen to later */
void defect_tell(void);                             /* TRIP_TOLD_IN_INTERRUPT */
void defect_search(void);                           /* SEARCH_WITH_INTERRUPTS_OFF: through all of the list */

#endif
