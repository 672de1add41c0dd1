/* A step of the load begins: its level goes to the ladder first, and all the rest has time, while other interrupts have
 * their turn. */
#define __SFR_OFFSET 0
#include <avr/io.h>

#include "board.h"
#include "slow.inc"

	.text
/* With the status and r24 saved, which is the track, and the timer's own interrupt off. */
begin:
	SLOWLY load_begun

	.global TIMER1_COMPA_vect
	.type TIMER1_COMPA_vect, @function
TIMER1_COMPA_vect:
	push r24
	in   r24, SREG
	push r24
	lds  r24, load_next
#if TRACKS == 2
	out  LOAD0_PORT, r24
#else
	sbrc r24, 5
	sbi  PORTB, PB3
	sbrs r24, 5
	cbi  PORTB, PB3
	lsl  r24
	lsl  r24
	lsl  r24
	out  PORTD, r24 /* the pins below are the serial line's, and an input without a pull-up */
#endif
	lds  r24, TIMSK1
	andi r24, ~(1 << OCIE1A)
	sts  TIMSK1, r24
	ldi  r24, 0
	rjmp begin

#if TRACKS == 2
	.global TIMER3_COMPA_vect
	.type TIMER3_COMPA_vect, @function
TIMER3_COMPA_vect:
	push r24
	in   r24, SREG
	push r24
	lds  r24, load_next + 1
	out  LOAD1_PORT, r24
	lds  r24, TIMSK3
	andi r24, ~(1 << OCIE3A)
	sts  TIMSK3, r24
	ldi  r24, 1
	rjmp begin
#endif
