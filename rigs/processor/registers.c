//go:build simavr

/* Registers of which simavr makes something else than the part does: what is read or written goes through here first. */
#include "inside.h"

#include <stdlib.h>

static wrap *wrap_at(machine *m, void *what)
{
	if (m->wraps == WRAPS_MOST)
		abort(); /* never: there is room for more than the largest processor has */
	wrap *w = &m->wrapped[m->wraps++];
	w->owner = m;
	w->what = what;
	return w;
}

void wrap_write(machine *m, avr_io_addr_t address, avr_io_write_t write, void *what)
{
	if (!address)
		return;
	wrap *w = wrap_at(m, what);
	const avr_io_addr_t io = AVR_DATA_TO_IO(address);
	w->write = m->avr->io[io].w.c;
	w->param = m->avr->io[io].w.param;
	m->avr->io[io].w.c = write;
	m->avr->io[io].w.param = w;
}

void wrap_read(machine *m, avr_io_addr_t address, avr_io_read_t read, void *what)
{
	if (!address)
		return;
	wrap *w = wrap_at(m, what);
	const avr_io_addr_t io = AVR_DATA_TO_IO(address);
	w->read = m->avr->io[io].r.c;
	w->param = m->avr->io[io].r.param;
	m->avr->io[io].r.c = read;
	m->avr->io[io].r.param = w;
}

void write_under(const wrap *w, avr_io_addr_t address, uint8_t value)
{
	avr_t *avr = w->owner->avr;
	if (w->write)
		w->write(avr, address, value, w->param);
	else
		avr->data[address] = value;
}

uint8_t read_under(const wrap *w, avr_io_addr_t address)
{
	avr_t *avr = w->owner->avr;
	return w->read ? w->read(avr, address, w->param) : avr->data[address];
}

uint8_t bits_written(const avr_t *avr, uint8_t value)
{
	const uint16_t instruction = avr->flash[avr->pc] | avr->flash[avr->pc + 1] << 8;
	return (instruction & 0xFF00) == 0x9A00 ? 1u << (instruction & 7) : value;
}
