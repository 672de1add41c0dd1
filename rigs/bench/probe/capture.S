/* The two interrupts of a track: an edge of SIGN, whose time the timer has captured, and an edge of ABSENT, whose time is read
 * here. Each puts four bytes into the ring of the track: the time, and what it was:
 *   from SIGN    TCCRnB, whose bit ICES says which edge it was, and whose bit 0 (CSn0) is set
 *   from ABSENT  2 if there is no voltage, else 0
 * edges.c makes sense of them. */
#define __SFR_OFFSET 0
#include <avr/io.h>

#include "board.h"
#include "interrupts.inc"

#define ICES 6

/* Leaves an interrupt after the entry at r30 has been written: on to the next one, unless the ring is full. */
.macro ADVANCE track
	subi r30, -4
	lds  TEMP, edges_tail + \track
	cp   r30, TEMP
	breq 8f
	sts  edges_head + \track, r30
7:	LEAVE
8:	ldi  r30, 1 /* the newest is lost, not the oldest */
	sts  edges_missed + \track, r30
	rjmp 7b
.endm

.macro SIGN track, ring, icrl, icrh, tccrb, tifr, icf, pin, bit
	in   SAVED_SREG, SREG
	movw SAVED_Z, r30
capture_\track:
	lds  r30, edges_head + \track
	ldi  r31, hi8(\ring)
	lds  TEMP, \icrl
	st   Z, TEMP
	lds  TEMP, \icrh
	std  Z+1, TEMP
	lds  TEMP, \tccrb
	std  Z+2, TEMP
	/* Wait for the other edge. "After a change of the edge, the Input Capture Flag must be cleared": data sheet of the
	 * ATmega2560, "Input Capture Trigger Source". */
	ldi  r31, 1 << ICES
	eor  TEMP, r31
	sts  \tccrb, TEMP
	ldi  r31, 1 << \icf
	out  \tifr, r31
	/* An edge between the capture and now would never be captured: the pin tells. */
	.if \pin < 0x60
	in   r31, \pin
	.else
	lds  r31, \pin
	.endif
	sbrc TEMP, ICES
	com  r31
	sbrs r31, \bit
	rjmp 6f
5:	ADVANCE \track
6:	sbic \tifr, \icf /* it has been captured after all */
	rjmp 5b
	ldi  r31, 1 << ICES
	eor  TEMP, r31
	sts  \tccrb, TEMP
	ldi  r31, 1
	sts  edges_missed + \track, r31
	rjmp 5b
.endm

.macro ABSENT track, ring, tcntl, tcnth, bit
	in   SAVED_SREG, SREG
	movw SAVED_Z, r30
	lds  r30, edges_head + \track
	ldi  r31, hi8(\ring)
	lds  TEMP, \tcntl
	st   Z, TEMP
	lds  TEMP, \tcnth
	std  Z+1, TEMP
	clr  TEMP
	sbic ABSENT_PIN, \bit
	inc  TEMP
	lsl  TEMP
	std  Z+2, TEMP
	ADVANCE \track
.endm

	.text
	.global capture_0, capture_1
#if TRACKS == 2
	.global TIMER4_CAPT_vect, TIMER5_CAPT_vect, INT4_vect, INT5_vect
	.type TIMER4_CAPT_vect, @function
	.type TIMER5_CAPT_vect, @function
	.type INT4_vect, @function
	.type INT5_vect, @function
TIMER4_CAPT_vect:
	SIGN 0, edges_ring0, ICR4L, ICR4H, TCCR4B, TIFR4, ICF4, SIGN_PIN, SIGN0_BIT
TIMER5_CAPT_vect:
	SIGN 1, edges_ring1, ICR5L, ICR5H, TCCR5B, TIFR5, ICF5, SIGN_PIN, SIGN1_BIT
INT4_vect:
	ABSENT 0, edges_ring0, TCNT4L, TCNT4H, ABSENT0_BIT
INT5_vect:
	ABSENT 1, edges_ring1, TCNT5L, TCNT5H, ABSENT1_BIT
#else
	.global TIMER1_CAPT_vect, INT0_vect
	.type TIMER1_CAPT_vect, @function
	.type INT0_vect, @function
TIMER1_CAPT_vect:
	SIGN 0, edges_ring0, ICR1L, ICR1H, TCCR1B, TIFR1, ICF1, SIGN_PIN, SIGN0_BIT
INT0_vect:
	ABSENT 0, edges_ring0, TCNT1L, TCNT1H, ABSENT0_BIT
#endif
