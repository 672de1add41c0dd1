//go:build simavr

/* Interrupts and their flags.
 *
 * In simavr 1.6 a write to the flags of a timer clears all of them, one to those of the external and the pin change interrupts
 * sets what it should clear; a flag that is raised before its interrupt is enabled never interrupts; an interrupt begins
 * in no time; and most pin change interrupts of the largest processors are missing. */
#include "inside.h"

#include <string.h>

#include <simavr/avr_extint.h>

/* A flag is cleared by a one that is written to it: data sheet of the ATmega2560, "External Interrupt Flag Register" and
 * others. */
static void flags_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	(void)param;
	value = bits_written(avr, value);
	for (int i = 0; i < avr->interrupts.vector_count; i++) {
		avr_int_vector_t *v = avr->interrupts.vector[i];
		if (v->raised.reg == address && value >> v->raised.bit & 1)
			avr_clear_interrupt(avr, v);
	}
}

/* An interrupt whose flag is up begins as soon as it is enabled. */
static void enables_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	write_under(param, address, value);
	for (int i = 0; i < avr->interrupts.vector_count; i++) {
		avr_int_vector_t *v = avr->interrupts.vector[i];
		if (v->enable.reg == address && v->raised.reg && !v->pending && avr_regbit_get(avr, v->enable) && avr_regbit_get(avr, v->raised))
			avr_raise_interrupt(avr, v);
	}
}

/* Each register once, however many interrupts share it. */
static int seen(avr_io_addr_t *list, int *count, avr_io_addr_t address)
{
	for (int i = 0; i < *count; i++)
		if (list[i] == address)
			return 1;
	list[(*count)++] = address;
	return 0;
}

typedef struct {
	avr_io_addr_t flags[16], enables[24];
	int flag, enable;
} registers;

/* An interrupt of which the flag is cleared by a one or by its routine. */
static void mend(machine *m, registers *r, const avr_int_vector_t *v)
{
	if (!v->vector || !v->raised.reg || !v->enable.reg)
		return;
	if (!seen(r->flags, &r->flag, v->raised.reg)) {
		/* In the place of simavr's own, which does no more. */
		m->avr->io[AVR_DATA_TO_IO(v->raised.reg)].w.c = NULL;
		m->avr->io[AVR_DATA_TO_IO(v->raised.reg)].w.param = NULL;
		wrap_write(m, v->raised.reg, flags_written, NULL);
	}
	if (!seen(r->enables, &r->enable, v->enable.reg))
		wrap_write(m, v->enable.reg, enables_written, NULL);
}

/* Four cycles from the flag to the first instruction, five where addresses have three bytes: data sheet of the ATmega2560,
 * "Interrupt Response Time". */
static void begins(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	machine *m = param;
	if (value)
		m->entered = m->avr->address_size == 3 ? 5 : 4;
}

/* Pin changes 16 to 23 of the largest processors, at the pins of port K. (Those of ports E and J are missing still.) */
static void attach_port_k(machine *m)
{
	avr_t *avr = m->avr;
	avr_ioport_t *k = port_called(avr, 'K');
	if (!k || k->r_pcint || (strcmp(avr->mmcu, "atmega2560") && strcmp(avr->mmcu, "atmega1280")))
		return;
	enum { PCIFR = 0x3B, PCICR = 0x68, PCMSK2 = 0x6D, PCINT2 = 11 }; /* data sheet of the ATmega2560, "Register Summary" */
	k->pcint.vector = PCINT2;
	k->pcint.enable = (avr_regbit_t){.reg = PCICR, .bit = 2, .mask = 1};
	k->pcint.raised = (avr_regbit_t){.reg = PCIFR, .bit = 2, .mask = 1};
	k->r_pcint = PCMSK2;
	avr_register_vector(avr, &k->pcint);
}

void attach_interrupts(machine *m)
{
	avr_t *avr = m->avr;
	registers r = {0};
	attach_port_k(m);
	for (avr_io_t *io = avr->io_port; io; io = io->next) {
		if (!io->kind)
			continue;
		if (!strcmp(io->kind, "timer")) {
			const avr_timer_t *t = (avr_timer_t *)io;
			mend(m, &r, &t->overflow);
			mend(m, &r, &t->icr);
			for (int i = 0; i < AVR_TIMER_COMP_COUNT; i++)
				mend(m, &r, &t->comp[i].interrupt);
		} else if (!strcmp(io->kind, "port")) {
			const avr_ioport_t *p = (avr_ioport_t *)io;
			mend(m, &r, &p->pcint);
		} else if (!strcmp(io->kind, "extint")) {
			const avr_extint_t *e = (avr_extint_t *)io;
			for (int i = 0; i < EXTINT_COUNT; i++)
				mend(m, &r, &e->eint[i].vector);
		}
	}
	if (m->adc) /* its flag is in the register that enables it: see converter.c */
		wrap_write(m, m->adc->adc.enable.reg, enables_written, NULL);
	wrap_write(m, m->uart->rxc.enable.reg, enables_written, NULL);
	for (int i = 0; i < avr->interrupts.vector_count; i++)
		avr_irq_register_notify(avr->interrupts.vector[i]->irq + AVR_INT_IRQ_RUNNING, begins, m);
	interrupts_after_reset(m);
}

/* simavr asks at every cycle whether an external interrupt is still low that is made by a low level, and that is what a reset
 * makes of all. An interrupt by level happens once here, when the level comes. */
void interrupts_after_reset(machine *m)
{
	for (int i = 0; i < EXTINT_COUNT; i++)
		avr_extint_set_strict_lvl_trig(m->avr, i, 0);
	m->entered = 0;
}
