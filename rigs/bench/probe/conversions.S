/* A conversion starts. Its time is that of a sample, so it goes first; nothing else is done with interrupts off but to set
 * the timer for the next one. The interrupt of the converter itself is not used: its place in the table of vectors is
 * behind those of the characters, and it would wait too long while they come and go at the full rate of the line. */
#define __SFR_OFFSET 0
#include <avr/io.h>

#include "slow.inc"

	.text
	.global TIMER1_COMPB_vect
	.type TIMER1_COMPB_vect, @function
TIMER1_COMPB_vect:
	push r24
	in   r24, SREG
	push r24
	lds  r24, current_mux
	sts  ADMUX, r24
	lds  r24, ADCSRA
	sts  current_control, r24
	ori  r24, 1 << ADSC
	sts  ADCSRA, r24
	lds  r24, ADCL /* of the one before: it stays there until the new one is over, which may come before the rest of this */
	sts  current_result, r24
	lds  r24, ADCH
	sts  current_result + 1, r24
	push r18
	push r19
	push r25
	lds  r18, OCR1BL
	lds  r19, OCR1BH
	lds  r24, current_step
	lds  r25, current_step + 1
	add  r18, r24
	adc  r19, r25
	sts  OCR1BH, r19
	sts  OCR1BL, r18
	pop  r25
	pop  r19
	pop  r18
	SLOWLY current_converting
