//go:build simavr

/* A timer whose top is moved below its count.
 *
 * In the mode "clear timer on compare match" a new top counts at once. If it is below the count, the match is missed, and the timer
 * goes on to the end of its 8 or 16 bits before it begins anew: data sheet of the ATmega328P, "Clear Timer on Compare Match (CTC)
 * Mode". That is what becomes of a signal whose interrupt came too late. simavr 1.6 lets the match happen at once instead, so that the half-bit is a few
 * microseconds too long and not a few milliseconds. (The overflow flag at the end of those bits, and matches of the other compare
 * register on the way there, are missing still.) */
#include "inside.h"

#include <string.h>

static uint32_t whole(const avr_timer_t *t) { return t->r_tcnth ? 0x10000 : 0x100; }

/* Cycles of a step of a count; 0 for a timer that stands still, or goes by another clock. */
static uint64_t step(const avr_timer_t *t)
{
	return t->tov_top && !(t->ext_clock_flags & (AVR_TIMER_EXTCLK_FLAG_TN | AVR_TIMER_EXTCLK_FLAG_AS2)) ? t->tov_cycles / (t->tov_top + 1u) : 0;
}

static void top_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	const wrap *w = param;
	avr_timer_t *t = w->what;
	const avr_io_addr_t high = t->comp[AVR_TIMER_COMPA].r_ocrh;
	const uint32_t top = value | (high ? avr->data[high] << 8 : 0);
	const uint64_t cycles = step(t);
	if (cycles && t->wgm_op_mode_kind == avr_timer_wgm_ctc && t->mode.top == avr_timer_wgm_reg_ocra) {
		/* When the count was zero. Where that is still to come, the match has been missed already. */
		uint64_t zero = t->tov_base;
		if (zero > avr->cycle)
			zero -= whole(t) * cycles;
		t->tov_base = zero + (avr->cycle - zero >= (top + 1) * cycles ? whole(t) * cycles : 0);
	}
	write_under(w, address, value);
}

/* simavr reckons from when the count was zero. */
static uint8_t count_read(avr_t *avr, avr_io_addr_t address, void *param)
{
	const wrap *w = param;
	const avr_timer_t *t = w->what;
	const uint64_t cycles = step(t);
	if (!cycles || t->tov_base <= avr->cycle)
		return read_under(w, address);
	const uint32_t count = whole(t) - (t->tov_base - avr->cycle + cycles - 1) / cycles;
	if (t->r_tcnth)
		avr->data[t->r_tcnth] = count >> 8;
	return avr->data[t->r_tcnt] = count;
}

/* A match right after the count was zero. simavr sees to an overflow when the instruction is over in which it fell, and a match that
 * was within it as well never comes. (What the match does to a pin is missing still.) */
static void overflows(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	avr_timer_t *t = param;
	avr_t *avr = t->io.avr;
	if (!value || !t->tov_base)
		return;
	const uint64_t late = avr->cycle - (t->tov_base + t->tov_cycles);
	for (int i = 0; i < AVR_TIMER_COMP_COUNT; i++)
		if (t->comp[i].comp_cycles && t->comp[i].comp_cycles < t->tov_cycles && t->comp[i].comp_cycles < late && late < t->tov_cycles)
			avr_raise_interrupt(avr, &t->comp[i].interrupt);
}

void attach_compares(machine *m)
{
	for (avr_io_t *io = m->avr->io_port; io; io = io->next) {
		avr_timer_t *t = (avr_timer_t *)io;
		if (!io->kind || strcmp(io->kind, "timer") || !t->comp[AVR_TIMER_COMPA].r_ocr)
			continue;
		wrap_write(m, t->comp[AVR_TIMER_COMPA].r_ocr, top_written, t);
		wrap_read(m, t->r_tcnt, count_read, t);
		if (t->overflow.vector)
			avr_irq_register_notify(t->overflow.irq + AVR_INT_IRQ_PENDING, overflows, t);
	}
}
