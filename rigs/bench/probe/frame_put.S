/* Puts bytes into the frame that is being written: CRC and stuffing, twenty cycles a byte. */
#define __SFR_OFFSET 0
#include <avr/io.h>

	.text
/* The CRC by tables, one of the lower and one of the upper bytes. The polynomial is 0x1021 reflected, as avr-libc's
 * _crc_ccitt_update has it. */
	.macro TABLE shift
	.set i, 0
	.rept 256
	.set c, i
	.rept 8
	.set c, (c >> 1) ^ (0x8408 * (c & 1))
	.endr
	.byte (c >> \shift) & 0xFF
	.set i, i + 1
	.endr
	.endm

	.section .progmem.crc, "a"
	.p2align 8
crc_low:
	TABLE 0
crc_high:
	TABLE 8

	.text
	.global frame_bytes
	.type frame_bytes, @function
/* void frame_bytes(const void *from, uint8_t n): r24 and r25, r22 */
frame_bytes:
	tst  r22
	breq 4f
	push r28
	push r29
	movw r28, r24
	lds  r26, frame_state /* where the next byte goes */
	lds  r27, frame_state + 1
	lds  r20, frame_state + 2 /* the place of the last zero */
	lds  r21, frame_state + 3
	lds  r24, frame_state + 4 /* the CRC */
	lds  r25, frame_state + 5
	ldi  r31, hi8(crc_low)
1:	ld   r23, Y+
	mov  r30, r24
	eor  r30, r23
	lpm  r24, Z
	eor  r24, r25
	inc  r31
	lpm  r25, Z
	dec  r31
	st   X+, r23
	tst  r23
	breq 3f
2:	dec  r22
	brne 1b
	sts  frame_state, r26
	sts  frame_state + 1, r27
	sts  frame_state + 2, r20
	sts  frame_state + 3, r21
	sts  frame_state + 4, r24
	sts  frame_state + 5, r25
	pop  r29
	pop  r28
4:	ret
	/* A zero: in the place of the one before goes how far away this one is. */
3:	movw r18, r26
	subi r18, 1
	sbci r19, 0
	mov  r30, r18
	sub  r30, r20
	movw r0, r26
	movw r26, r20
	st   X, r30
	movw r26, r0
	clr  r1
	movw r20, r18
	rjmp 2b
