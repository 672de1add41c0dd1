//go:build simavr

/* Pins: what the processor does with them, and what reaches it by them. */
#include "inside.h"

#include <stdlib.h>
#include <string.h>

/* --- outputs --- */

static void look(watched_port *p, int more)
{
	machine *m = p->owner;
	const uint8_t value = p->port & p->ddr;
	if (value == p->value)
		return;
	p->value = value;
	if (m->changes == CHANGES_MOST) /* never: a run ends well before */
		return;
	m->change[m->changes++] = (machine_change){m->avr->cycle, p->name, value, more};
	if (m->stop_at_changes || m->changes > CHANGES_MOST - 16)
		m->stop = 1;
}

static void port_written(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	watched_port *p = param;
	p->port = value;
	look(p, 0);
}

static void ddr_written(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	watched_port *p = param;
	p->ddr = value;
	look(p, 0);
}

int watch_port(machine *m, char name)
{
	for (int i = 0; i < m->ports; i++)
		if (m->port[i].name == name)
			return 1;
	avr_irq_t *written = avr_io_getirq(m->avr, AVR_IOCTL_IOPORT_GETIRQ(name), IOPORT_IRQ_REG_PORT);
	avr_irq_t *turned = avr_io_getirq(m->avr, AVR_IOCTL_IOPORT_GETIRQ(name), IOPORT_IRQ_DIRECTION_ALL);
	if (!written || !turned)
		return 0;
	if (m->ports == PORTS_MOST) /* never: ports have letters from A to L */
		return 0;
	watched_port *port = &m->port[m->ports++];
	*port = (watched_port){.owner = m, .name = name, .written = written, .turned = turned};
	avr_irq_register_notify(written, port_written, port);
	avr_irq_register_notify(turned, ddr_written, port);
	return 1;
}

/* A reset makes inputs of all pins, all at once. */
void pins_were_reset(machine *m)
{
	const int before = m->changes;
	for (int i = 0; i < m->ports; i++) {
		m->port[i].port = m->port[i].ddr = 0;
		/* simavr tells of changes only, and has not noticed this one. */
		m->port[i].written->value = m->port[i].turned->value = 0;
		look(&m->port[i], 1);
	}
	if (m->changes > before)
		m->change[m->changes - 1].more = 0;
}

/* A one that is written to a PIN register turns its pin over. */
static void pins_turned(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	write_under(param, address, bits_written(avr, value));
}

void attach_pins(machine *m)
{
	for (avr_io_t *io = m->avr->io_port; io; io = io->next)
		if (io->kind && !strcmp(io->kind, "port"))
			wrap_write(m, ((avr_ioport_t *)io)->r_pin, pins_turned, NULL);
}

/* --- inputs --- */

avr_ioport_t *port_called(avr_t *avr, char name)
{
	for (avr_io_t *io = avr->io_port; io; io = io->next)
		if (io->kind && !strcmp(io->kind, "port") && ((avr_ioport_t *)io)->name == name)
			return (avr_ioport_t *)io;
	return NULL;
}

/* A level comes to a pin. simavr is told that it is held there, or else every write to the port would make the pin high that has
 * its pull-up on. */
static void drive(machine *m, avr_ioport_t *p, uint8_t bit, int high)
{
	const uint8_t mask = 1u << bit, value = high ? mask : 0;
	p->external.pull_mask |= mask;
	p->external.pull_value = (p->external.pull_value & ~mask) | value;
	/* A pin that is an output stays what the processor makes of it. */
	if (!(m->avr->data[p->r_ddr] & mask) && (m->avr->data[p->r_pin] & mask) != value)
		avr_raise_irq(p->io.irq + bit, high);
}

/* What is held at the pins is there again after a reset, which in simavr clears the registers that show them. */
void pins_after_reset(machine *m)
{
	for (avr_io_t *io = m->avr->io_port; io; io = io->next)
		if (io->kind && !strcmp(io->kind, "port")) {
			avr_ioport_t *p = (avr_ioport_t *)io;
			m->avr->data[p->r_pin] = p->external.pull_value & p->external.pull_mask;
		}
}

/* Each at the cycle at which it happens, also when that lies within an instruction: an input capture has to take the count of
 * that cycle, and simavr's trace its time. */
static void happens(machine *m, const outside *o)
{
	avr_t *avr = m->avr;
	const avr_cycle_count_t now = avr->cycle;
	avr->cycle = o->cycle;
	if (o->port)
		drive(m, o->port, o->bit, o->value);
	else
		serial_receive(m, o->value);
	avr->cycle = now;
}

static avr_cycle_count_t outside_comes(avr_t *avr, avr_cycle_count_t when, void *param)
{
	machine *m = param;
	while (m->next_coming < m->comings && m->coming[m->next_coming].cycle <= when)
		happens(m, &m->coming[m->next_coming++]);
	if (m->next_coming == m->comings)
		m->next_coming = m->comings = 0;
	else /* anew, so that it finds its place among what else simavr has to do */
		avr_cycle_timer_register(avr, m->coming[m->next_coming].cycle - avr->cycle, outside_comes, m);
	return 0;
}

void outside_due(machine *m)
{
	if (m->next_coming == m->comings)
		return;
	/* A cycle that has passed wraps around here and there again: it is due at once, and in its turn. */
	avr_cycle_timer_register(m->avr, m->coming[m->next_coming].cycle - m->avr->cycle, outside_comes, m);
	if (m->coming[m->next_coming].cycle <= m->avr->cycle)
		avr_cycle_timer_process(m->avr);
}

/* In its place by time; of one cycle in the order in which they were told. */
static int comes(machine *m, outside o)
{
	if (m->comings == m->coming_room) {
		if (m->next_coming > m->comings / 2) {
			m->comings -= m->next_coming;
			memmove(m->coming, m->coming + m->next_coming, m->comings * sizeof *m->coming);
			m->next_coming = 0;
		} else {
			const uint32_t room = m->coming_room ? 2 * m->coming_room : 64;
			outside *more = realloc(m->coming, room * sizeof *more);
			if (!more)
				return 0;
			m->coming = more;
			m->coming_room = room;
		}
	}
	uint32_t i = m->comings++;
	for (; i > m->next_coming && m->coming[i - 1].cycle > o.cycle; i--)
		m->coming[i] = m->coming[i - 1];
	m->coming[i] = o;
	return 1;
}

int machine_set_pin(machine *m, uint64_t cycle, char port, int bit, int high)
{
	avr_ioport_t *p = port_called(m->avr, port);
	return p && bit >= 0 && bit < 8 && comes(m, (outside){cycle, p, bit, high != 0});
}

int machine_receive(machine *m, uint64_t cycle, uint8_t byte)
{
	if (m->bare) {
		serial_receive(m, byte);
		return 1;
	}
	return comes(m, (outside){cycle, NULL, 0, byte});
}

/* --- trace --- */

int machine_trace(machine *m, const char *file)
{
	if (m->trace)
		return 0;
	m->trace = calloc(1, sizeof *m->trace);
	if (!m->trace)
		return 0;
	avr_vcd_init(m->avr, file, m->trace, 1000);
	return 1;
}

int machine_trace_pin(machine *m, char port, int bit, const char *name)
{
	avr_irq_t *irq = bit < 0 || bit > 7 ? NULL : avr_io_getirq(m->avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit);
	return m->trace && irq && avr_vcd_add_signal(m->trace, irq, 1, name) == 0;
}

int machine_trace_start(machine *m) { return m->trace && avr_vcd_start(m->trace) == 0; }
