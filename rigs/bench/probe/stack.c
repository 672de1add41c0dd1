/* The stack is painted before anything runs on it, so that what a run has used of it can be seen afterwards in a memory dump. */
#include <avr/io.h>
#include <stdint.h>

enum { PAINT = 0xC5 };

extern uint8_t _end;

void stack_paint(void) __attribute__((naked, used, section(".init1")));
void stack_paint(void)
{
	__asm__ volatile("ldi r30, lo8(_end)\n\t"
			 "ldi r31, hi8(_end)\n\t"
			 "ldi r24, %[paint]\n\t"
			 "ldi r25, hi8(%[end] + 1)\n"
			 "1: st Z+, r24\n\t"
			 "cpi r30, lo8(%[end] + 1)\n\t"
			 "cpc r31, r25\n\t"
			 "brlo 1b\n\t"
			 :
			 : [paint] "M"(PAINT), [end] "n"(RAMEND));
}
