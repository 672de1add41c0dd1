/* One character out, one character in. */
#define __SFR_OFFSET 0
#include <avr/io.h>

#include "board.h"
#include "characters.h"
#include "interrupts.inc"


	.text
#if TRACKS == 2
	.global USART0_UDRE_vect, USART0_RX_vect
	.type USART0_UDRE_vect, @function
	.type USART0_RX_vect, @function
USART0_UDRE_vect:
#else
	.global USART_UDRE_vect, USART_RX_vect
	.type USART_UDRE_vect, @function
	.type USART_RX_vect, @function
USART_UDRE_vect:
#endif
	in   SAVED_SREG, SREG
	movw SAVED_Z, r30
	movw r30, SENDING
	ld   TEMP, Z+
	sts  UDR0, TEMP
	movw SENDING, r30
	dec  LEFT
	breq 2f
1:	LEAVE
2:	lds  r30, frame_waits
	tst  r30
	breq 3f
	lds  SENDING, frame_next
	lds  SENDING_HIGH, frame_next + 1
	lds  LEFT, frame_next_length
	clr  TEMP
	sts  frame_waits, TEMP
	rjmp 1b
3:	sts  frame_sending, r30
	ldi  r30, CHARACTERS_IN
	sts  UCSR0B, r30
	rjmp 1b

#if TRACKS == 2
USART0_RX_vect:
#else
USART_RX_vect:
#endif
	in   SAVED_SREG, SREG
	movw SAVED_Z, r30
	lds  r31, UCSR0A /* before the character, which takes it along */
	lds  TEMP, UDR0
	andi r31, 1 << FE0 | 1 << DOR0
	brne 5f
1:	mov  r30, RECEIVED
	ldi  r31, hi8(serial_ring)
	st   Z, TEMP
	inc  r30
	lds  r31, serial_tail
	cp   r30, r31
	breq 4f
	mov  RECEIVED, r30
	tst  TEMP
	breq 3f
	/* Both ways at the full rate of the line are more than the processor can do with all the rest. While a command
	 * comes, at most 0.4 ms, sending waits, for the rate of the frames leaves room to catch up; until its end, or
	 * frame_task. */
	ldi  r31, CHARACTERS_IN
	sts  UCSR0B, r31
2:	LEAVE

	/* The end of a frame: note when it came, for SYNC. */
3:	lds  r30, serial_ends
	inc  r30
	sts  serial_ends, r30
	andi r30, 7
	lsl  r30
	lsl  r30
	clr  r31
	subi r30, lo8(-(serial_end))
	sbci r31, hi8(-(serial_end))
	lds  TEMP, TCNT1L
	st   Z, TEMP
	lds  TEMP, TCNT1H
	std  Z+1, TEMP
	lds  TEMP, clock_wraps
	std  Z+2, TEMP
	in   TEMP, TIFR1 /* has it wrapped, and nobody noticed yet? */
	std  Z+3, TEMP
	lds  r30, frame_sending
	tst  r30
	breq 2b
	ldi  r30, CHARACTERS_IN | 1 << UDRIE0
	sts  UCSR0B, r30
	rjmp 2b

4:	ldi  r31, 1 /* no room */
	sts  serial_full, r31
	rjmp 2b

5:	lds  r31, serial_faults
	inc  r31
	sts  serial_faults, r31
	rjmp 1b
