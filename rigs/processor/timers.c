//go:build simavr

/* Timers of 16 bits.
 *
 * The high byte of what is read or written goes through a register that all of a timer share: data sheet of the ATmega328P,
 * "Accessing 16-bit Registers". simavr 1.6 has none for the captured value, so that a capture between the reads of its
 * two bytes would tear it, and none for writes, so that a firmware would get away with an interrupt in the middle of one. */
#include "inside.h"

#include <string.h>

static void high_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	(void)avr, (void)address;
	((wide_timer *)((wrap *)param)->what)->temp = value;
}

static void low_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	const wide_timer *w = ((wrap *)param)->what;
	avr->data[address + 1] = w->temp; /* the high byte follows the low one on all processors */
	write_under(param, address, value);
}

static uint8_t low_read(avr_t *avr, avr_io_addr_t address, void *param)
{
	wide_timer *w = ((wrap *)param)->what;
	const uint8_t low = read_under(param, address);
	w->temp = address == w->timer->r_icr && w->kept ? w->high : avr->data[address + 1];
	return low;
}

/* simavr keeps what is read in the register itself, so that the captured high byte has to be kept elsewhere until the next
 * capture. */
static uint8_t high_read(avr_t *avr, avr_io_addr_t address, void *param)
{
	wide_timer *w = ((wrap *)param)->what;
	if (address == w->timer->r_icrh && !w->kept) {
		w->high = avr->data[address];
		w->kept = 1;
	}
	return w->temp;
}

/* Before simavr captures. */
static void captures(avr_irq_t *irq, uint32_t value, void *param)
{
	wide_timer *w = param;
	avr_t *avr = w->timer->io.avr;
	if (avr_regbit_get(avr, w->timer->ices) ? !irq->value && value : irq->value && !value)
		w->kept = 0;
}

static int wide(machine *m, avr_io_addr_t low, avr_io_addr_t high, wide_timer *w, int read)
{
	if (!low || high != low + 1)
		return 0;
	wrap_write(m, low, low_written, w);
	wrap_write(m, high, high_written, w);
	if (read) {
		wrap_read(m, low, low_read, w);
		wrap_read(m, high, high_read, w);
	}
	return 1;
}

void attach_timers(machine *m)
{
	for (avr_io_t *io = m->avr->io_port; io; io = io->next) {
		if (!io->kind || strcmp(io->kind, "timer") || !((avr_timer_t *)io)->r_tcnth)
			continue;
		if (m->wides == WIDE_MOST)
			return;
		avr_timer_t *t = (avr_timer_t *)io;
		wide_timer *w = &m->wide[m->wides++];
		w->timer = t;
		wide(m, t->r_tcnt, t->r_tcnth, w, 1);
		for (int i = 0; i < AVR_TIMER_COMP_COUNT; i++)
			wide(m, t->comp[i].r_ocr, t->comp[i].r_ocrh, w, 0);
		if (wide(m, t->r_icr, t->r_icrh, w, 1))
			avr_irq_register_notify(t->io.irq + TIMER_IRQ_IN_ICP, captures, w);
	}
}

void timers_after_reset(machine *m)
{
	for (int i = 0; i < m->wides; i++)
		m->wide[i].temp = m->wide[i].kept = 0;
}
