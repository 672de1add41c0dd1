//go:build simavr

/* The serial port.
 *
 * In simavr 1.6 a character takes the time that was reckoned when UBRRnL was written, with the double-speed bit of that moment and
 * a parity bit that may not be there; the transmitter has no second register, so that it pauses after each character
 * until the firmware has come; and the interrupts of a state that lasts come once for each character's time. So the port is done
 * here, and simavr's left with its registers: data sheet of the ATmega2560, "USART". */
#include "inside.h"

#include <string.h>

/* Whenever a register is written that matters. */
static void line_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	machine *m = ((wrap *)param)->owner;
	avr_uart_t *u = m->uart;
	/* Older processors have UBRRH and UCSRC at one address, and the highest bit says which is meant. */
	const int shared = u->ubrrh.reg == u->r_ucsrc, high = address == u->ubrrh.reg && !(shared && value & 0x80);
	if (high)
		m->baud_high = value & 0x0F;
	if (!(high && shared))
		write_under(param, address, value);
	const uint32_t divisor = avr_regbit_get(avr, u->ubrrl) | m->baud_high << 8;
	const uint32_t bit = (divisor + 1) * (avr_regbit_get(avr, u->u2x) ? 8 : 16);
	const uint8_t size = avr_regbit_get(avr, u->ucsz) | avr_regbit_get(avr, u->ucsz2) << 2;
	const uint32_t data = size < 3 ? 5 + size : size == 7 ? 9 : 8;
	const uint32_t parity = avr->data[u->r_ucsrc] >> 5 & 1; /* UPMn1 */
	u->cycles_per_byte = bit * (1 + data + parity + 1 + avr_regbit_get(avr, u->usbs));
}

static avr_uart_t *uart_of(avr_t *avr, char name)
{
	for (avr_io_t *io = avr->io_port; io; io = io->next)
		if (io->kind && !strcmp(io->kind, "uart") && ((avr_uart_t *)io)->name == name)
			return (avr_uart_t *)io;
	return NULL;
}

/* A flag that says how things are, and interrupts for as long as they are so. */
static void set_state(machine *m, avr_int_vector_t *v, int on)
{
	if (on) {
		avr_raise_interrupt(m->avr, v);
		return;
	}
	avr_clear_interrupt(m->avr, v);
	avr_regbit_clear(m->avr, v->raised); /* which simavr takes for one that its routine leaves */
}

/* The routine is over, and things are as they were. */
static void routine_ends(avr_irq_t *irq, uint32_t value, void *param)
{
	machine *m = param;
	avr_uart_t *u = m->uart;
	avr_int_vector_t *v = irq == u->rxc.irq + AVR_INT_IRQ_RUNNING ? &u->rxc : &u->udrc;
	if (!value && avr_regbit_get(m->avr, v->enable) && avr_regbit_get(m->avr, v->raised))
		avr_raise_interrupt(m->avr, v);
}

/* --- transmitter: a register that shifts, and one before it --- */

static avr_cycle_count_t shifted(avr_t *avr, avr_cycle_count_t when, void *param);

static void shift(machine *m, avr_cycle_count_t when, uint8_t byte)
{
	if (m->sents < SENT_MOST) /* always: a run ends well before */
		m->sent[m->sents++] = (machine_sent){when, byte};
	m->shifting = 1;
	avr_cycle_timer_register(m->avr, when + m->uart->cycles_per_byte - m->avr->cycle, shifted, m);
}

static avr_cycle_count_t shifted(avr_t *avr, avr_cycle_count_t when, void *param)
{
	machine *m = param;
	m->shifting = 0;
	if (m->holding) {
		m->holding = 0;
		shift(m, when, m->held);
		set_state(m, &m->uart->udrc, 1);
	} else {
		avr_raise_interrupt(avr, &m->uart->txc);
	}
	return 0;
}

static void data_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	(void)address;
	machine *m = ((wrap *)param)->owner;
	if (!avr_regbit_get(avr, m->uart->txen) || m->holding)
		return; /* what is written while UDREn is down is lost */
	if (!m->shifting) {
		shift(m, avr->cycle, value);
		return;
	}
	m->holding = 1;
	m->held = value;
	set_state(m, &m->uart->udrc, 0);
}

/* --- receiver: two characters wait, and a third where it was shifted in, which the next one overwrites ("Data OverRun") --- */

enum { RECEIVER_KEEPS = sizeof ((machine *)0)->received };

void serial_receive(machine *m, uint8_t byte)
{
	avr_uart_t *u = m->uart;
	if (m->simple) {
		/* simavr shows a character a character's time after it is told of it. It is told at the end of it here. */
		const avr_cycle_count_t character = u->cycles_per_byte;
		u->cycles_per_byte = 1;
		avr_raise_irq(u->io.irq + UART_IRQ_INPUT, byte);
		u->cycles_per_byte = character;
		return;
	}
	if (!avr_regbit_get(m->avr, u->rxen))
		return;
	if (m->receiveds == RECEIVER_KEEPS) {
		m->received[RECEIVER_KEEPS - 1] = byte;
		avr_regbit_set(m->avr, u->dor);
		return;
	}
	m->received[m->receiveds++] = byte;
	set_state(m, &u->rxc, 1);
}

static uint8_t data_read(avr_t *avr, avr_io_addr_t address, void *param)
{
	(void)address;
	machine *m = ((wrap *)param)->owner;
	avr_regbit_clear(avr, m->uart->dor);
	if (!m->receiveds)
		return 0;
	const uint8_t byte = m->received[0];
	memmove(m->received, m->received + 1, --m->receiveds);
	if (!m->receiveds)
		set_state(m, &m->uart->rxc, 0);
	return byte;
}

/* simavr believes of its own that nothing waits. */
static void control_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	machine *m = ((wrap *)param)->owner;
	avr_uart_t *u = m->uart;
	const uint8_t overrun = avr_regbit_get(avr, u->dor);
	write_under(param, address, value);
	if (!avr_regbit_get(avr, u->rxen))
		m->receiveds = 0; /* a receiver that is switched off forgets */
	else if (overrun)
		avr_regbit_set(avr, u->dor);
	if (!m->receiveds)
		set_state(m, &u->rxc, 0);
	if (m->holding)
		set_state(m, &u->udrc, 0);
	else
		avr_regbit_set(avr, u->udrc.raised);
}

static void byte_sent(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	machine *m = param;
	if (m->sents < SENT_MOST)
		m->sent[m->sents++] = (machine_sent){m->avr->cycle, value};
}

int attach_serial(machine *m, char name)
{
	avr_t *avr = m->avr;
	avr_uart_t *u = m->uart = uart_of(avr, name);
	if (!u)
		return 0;
	u->flags &= ~(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
	/* Without a flag for the free register it is a port of another kind, which is left as it is. */
	m->simple = m->bare || !u->udrc.vector;
	if (!m->simple) {
		avr->io[AVR_DATA_TO_IO(u->r_udr)].w.c = NULL;
		avr->io[AVR_DATA_TO_IO(u->r_udr)].r.c = NULL;
		wrap_write(m, u->r_udr, data_written, NULL);
		wrap_read(m, u->r_udr, data_read, NULL);
		wrap_write(m, u->r_ucsra, control_written, NULL);
		if (u->r_ucsrb != u->r_ucsra)
			wrap_write(m, u->r_ucsrb, control_written, NULL);
		avr_irq_register_notify(u->rxc.irq + AVR_INT_IRQ_RUNNING, routine_ends, m);
		avr_irq_register_notify(u->udrc.irq + AVR_INT_IRQ_RUNNING, routine_ends, m);
	} else if (!m->bare) {
		avr_irq_register_notify(u->io.irq + UART_IRQ_OUTPUT, byte_sent, m);
	}
	const avr_io_addr_t registers[] = {u->ubrrl.reg, u->r_ucsra, u->r_ucsrb, u->r_ucsrc, u->ubrrh.reg};
	for (size_t i = 0; i < sizeof registers / sizeof *registers; i++) {
		int again = 0;
		for (size_t k = 0; k < i; k++)
			again |= registers[k] == registers[i];
		if (!again)
			wrap_write(m, registers[i], line_written, NULL);
	}
	serial_after_reset(m);
	return 1;
}

void serial_after_reset(machine *m)
{
	m->shifting = m->holding = m->receiveds = m->baud_high = 0;
	if (!m->simple)
		avr_regbit_clear(m->avr, m->uart->txen); /* which simavr sets for its own use */
}
