/* Registers that belong to the interrupts in assembler. The compiler keeps off them (-ffixed in the Makefile), and what it links from
 * libraries does not use them (a test looks at the whole image). They save what costs most in a short interrupt, pushes and
 * pops: with 40 000 edges and 110 000 characters in a second that is a fifth of the processor's time.
 *
 * These interrupts never interrupt one another, so one set of them is enough. */
#ifndef REGISTERS_H
#define REGISTERS_H

#define SAVED_SREG r2
#define TEMP r3
#define SENDING r4  /* the character to send next */
#define SENDING_HIGH r5
#define LEFT r6     /* characters of the frame being sent, 0 for 256 */
#define RECEIVED r7 /* where the next character goes in the ring of those received */
#define SAVED_Z r8  /* and r9 */

#endif
