/* The hot path of edges.c, forty thousand times a second: entries of the ring that are edges of SIGN one after the other, with
 * voltage on the track, become items of the stretch. Forty cycles each, where the compiler needs twice as many.
 *
 * void edges_run(run_t *): works through entries until one is anything else, does not belong to the stretch, is further away from
 * the one before than an item can tell, or finds no room. The rest is edges.c's. */
#define __SFR_OFFSET 0
#include <avr/io.h>

#include "board.h"

/* run_t */
#define TAIL 0
#define HEAD 1
#define PAGE_OF_RING 2
#define EXPECTED 3
#define ROOM 4
#define ITEM 5
#define LAST 7
#define START 9
#define LENGTH 11

#define ICES 6

	.text
	.global edges_run
	.type edges_run, @function
edges_run:
	push r14
	push r15
	push r16
	push r17
	push r28
	push r29
	movw r28, r24
	ldd  r30, Y+TAIL
	ldd  r24, Y+HEAD
	ldd  r31, Y+PAGE_OF_RING
	ldd  r23, Y+EXPECTED
	ldd  r25, Y+ROOM
	ldd  r26, Y+ITEM
	ldd  r27, Y+ITEM+1
	ldd  r18, Y+LAST
	ldd  r19, Y+LAST+1
	ldd  r14, Y+START
	ldd  r15, Y+START+1
	ldd  r16, Y+LENGTH
	ldd  r17, Y+LENGTH+1
1:	cp   r30, r24
	breq 3f
	ldd  r22, Z+2
	cp   r22, r23
	brne 3f
	ld   r20, Z
	ldd  r21, Z+1
	movw r0, r20
	sub  r0, r14
	sbc  r1, r15
	cp   r0, r16
	cpc  r1, r17
	brsh 3f
	movw r0, r20
	sub  r0, r18
	sbc  r1, r19
	mov  r22, r1
	cpi  r22, 0x40
	brsh 3f
	movw r18, r20
	sbrc r23, ICES
	ori  r22, 0x40 /* positive */
	sbrs r23, ICES
	ori  r22, 0x80 /* negative */
	st   X+, r0
	st   X+, r22
	ldi  r22, 1 << ICES
	eor  r23, r22
	subi r30, -4
	dec  r25
	brne 1b
3:	clr  r1
	std  Y+TAIL, r30
	std  Y+EXPECTED, r23
	std  Y+ROOM, r25
	std  Y+LAST, r18
	std  Y+LAST+1, r19
	pop  r29
	pop  r28
	pop  r17
	pop  r16
	pop  r15
	pop  r14
	ret
