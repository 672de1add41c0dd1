//go:build simavr

/* The EEPROM.
 *
 * In simavr a byte is written at once, and EEPE never seen set. A real one takes 3.4 ms (data sheet of the ATmega328P, table
 * "EEPROM Programming Time"), for which firmware has to wait. */
#include "inside.h"

enum { EEPROM_WRITE_US = 3400 };

static uint8_t eepe(const machine *m) { return 1u << m->eeprom->eepe.bit; }

static avr_cycle_count_t eeprom_written(avr_t *avr, avr_cycle_count_t when, void *param)
{
	(void)when;
	machine *m = param;
	m->eeprom_busy = 0;
	avr->data[m->eeprom->r_eecr] &= ~eepe(m);
	return 0;
}

static void eecr_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	(void)avr;
	machine *m = ((wrap *)param)->owner;
	write_under(param, address, value);
	if (!m->eeprom_busy) {
		if (!(value & eepe(m)))
			return;
		m->eeprom_busy = 1;
		avr_cycle_timer_register_usec(m->avr, EEPROM_WRITE_US, eeprom_written, m);
	}
	m->avr->data[m->eeprom->r_eecr] |= eepe(m);
}

void attach_eeprom(machine *m)
{
	m->eeprom = part_of(m->avr, "eeprom");
	if (m->eeprom)
		wrap_write(m, m->eeprom->r_eecr, eecr_written, NULL);
}

int machine_eeprom_size(machine *m) { return m->avr->e2end ? m->avr->e2end + 1 : 0; }

void machine_eeprom_get(machine *m, uint8_t *into, int size)
{
	avr_eeprom_desc_t d = {.ee = into, .offset = 0, .size = size};
	avr_ioctl(m->avr, AVR_IOCTL_EEPROM_GET, &d);
}

void machine_eeprom_set(machine *m, const uint8_t *bytes, int size)
{
	avr_eeprom_desc_t d = {.ee = (uint8_t *)bytes, .offset = 0, .size = size};
	avr_ioctl(m->avr, AVR_IOCTL_EEPROM_SET, &d);
}
