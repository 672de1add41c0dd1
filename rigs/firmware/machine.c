//go:build simavr

#include "machine.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_core.h>
#include <simavr/sim_cycle_timers.h>
#include <simavr/sim_time.h>
#include <simavr/sim_vcd_file.h>

typedef struct {
	machine *owner;
	char name;
	uint8_t port, ddr;
	avr_irq_t *written, *turned;
} watched_port;

/* A stretch of flash with code of the image. */
typedef struct {
	uint32_t from, size;
} stretch;

struct machine {
	avr_t *avr;
	machine_output output[OUTPUTS_MOST];
	int outputs;
	uint8_t level[OUTPUTS_MOST];
	watched_port port[PORTS_MOST];
	int ports;

	stretch *code, here; /* all of the image, and the one that runs */
	uint32_t codes, room;
	uint32_t at;          /* the last instruction */
	int invalid, ran_off; /* the processor has met something that is no instruction, or left the image */
	int fresh;            /* nothing has run since the supply came, or since a reset */

	machine_edge edge[EDGES_MOST];
	int edges;
	machine_sent sent[SENT_MOST];
	int sents;

	avr_uart_t *uart;
	avr_irq_t *receive;
	avr_adc_t *adc;       /* null for a processor without a converter */
	avr_eeprom_t *eeprom; /* null for a processor without one */
	int eeprom_busy;      /* a byte is being written */
	int channel;          /* that is being converted */
	uint32_t sampled;     /* millivolts */
	int convert, stop;    /* why the run has to end */
	uint32_t resets;
	void (*reset_before)(avr_t *avr);
	avr_vcd_t *trace;
	char log[LOG_MOST];
};

/* What simavr complains of. An invalid instruction it tells in no other way, and goes on. */
static void keep_log(avr_t *avr, const int level, const char *format, va_list arguments)
{
	machine *m = avr ? avr->custom.data : NULL;
	if (!m || level > LOG_WARNING)
		return;
	if (strstr(format, "Invalid Opcode"))
		m->invalid = m->stop = 1;
	char line[256];
	vsnprintf(line, sizeof line, format, arguments);
	size_t have = strlen(m->log), more = strlen(line);
	if (have + more >= LOG_MOST) { /* keep the later half */
		memmove(m->log, m->log + LOG_MOST / 2, LOG_MOST - LOG_MOST / 2);
		have = strlen(m->log);
	}
	if (have + more < LOG_MOST)
		memcpy(m->log + have, line, more + 1);
}

/* The logger is one for all machines. */
__attribute__((constructor)) static void set_logger(void) { avr_global_logger_set(keep_log); }

/* The first part of the processor of a kind, as simavr calls it. */
static void *part_of(avr_t *avr, const char *kind)
{
	for (avr_io_t *io = avr->io_port; io; io = io->next)
		if (io->kind && strcmp(io->kind, kind) == 0)
			return io;
	return NULL;
}

/* --- pins --- */

static watched_port *port_of(machine *m, char name)
{
	for (int i = 0; i < m->ports; i++)
		if (m->port[i].name == name)
			return &m->port[i];
	return NULL;
}

/* What a pin does. One that is no output is pulled low on the driver board, whatever the pull-up of the processor does. */
static int pin_on(machine *m, const machine_pin *p)
{
	const watched_port *port = port_of(m, p->port);
	const int high = (port->port & port->ddr) >> p->bit & 1;
	return high != p->inverted;
}

static uint8_t level_of(machine *m, const machine_output *o)
{
	if (o->positive.port) {
		const int p = pin_on(m, &o->positive), n = pin_on(m, &o->negative);
		return p == n ? LEVEL_OFF : p ? LEVEL_POSITIVE : LEVEL_NEGATIVE;
	}
	if (o->enable.port && !pin_on(m, &o->enable))
		return LEVEL_OFF;
	if (o->brake.port && pin_on(m, &o->brake))
		return LEVEL_OFF; /* both ends of the rails are joined: no voltage */
	return pin_on(m, &o->direction) ? LEVEL_POSITIVE : LEVEL_NEGATIVE;
}

static void look(machine *m)
{
	for (int i = 0; i < m->outputs; i++) {
		const uint8_t level = level_of(m, &m->output[i]);
		if (level == m->level[i])
			continue;
		m->level[i] = level;
		if (m->edges == EDGES_MOST) /* never: a run ends well before */
			continue;
		m->edge[m->edges++] = (machine_edge){m->avr->cycle, i, level};
		if (m->edges > EDGES_MOST - 16)
			m->stop = 1;
	}
}

static void port_written(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	watched_port *p = param;
	p->port = value;
	look(p->owner);
}

static void ddr_written(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	watched_port *p = param;
	p->ddr = value;
	look(p->owner);
}

static int watch_port(machine *m, const machine_pin *p)
{
	if (!p->port || port_of(m, p->port))
		return 1;
	avr_irq_t *written = avr_io_getirq(m->avr, AVR_IOCTL_IOPORT_GETIRQ(p->port), IOPORT_IRQ_REG_PORT);
	avr_irq_t *turned = avr_io_getirq(m->avr, AVR_IOCTL_IOPORT_GETIRQ(p->port), IOPORT_IRQ_DIRECTION_ALL);
	if (!written || !turned)
		return 0;
	if (m->ports == PORTS_MOST) /* never: ports have letters from A to L */
		return 0;
	watched_port *port = &m->port[m->ports++];
	*port = (watched_port){.owner = m, .name = p->port, .written = written, .turned = turned};
	avr_irq_register_notify(written, port_written, port);
	avr_irq_register_notify(turned, ddr_written, port);
	return 1;
}

/* --- converter ---
 *
 * simavr computes the result when the program reads it, from the voltage and the channel of that moment. The real one
 * samples shortly after the start and keeps the result. So the rig is asked at the instant of sampling, and when the
 * conversion ends, what it said is the voltage of the one channel that all others have been made to mean. (simavr 1.6 has
 * room for eight, and reads beyond them where a processor has more.) The channel's own number is kept in a field that means
 * nothing for such channels. A difference of two channels is nothing, then: no bridge is measured so. */

enum { MUXES = sizeof((avr_adc_t *)0)->muxmode / sizeof(avr_adc_mux_t) };

static void join_channels(avr_adc_t *adc)
{
	for (int i = 0; i < MUXES; i++) {
		avr_adc_mux_t *mux = &adc->muxmode[i];
		if (mux->kind == ADC_MUX_SINGLE)
			mux->diff = mux->src;
		else if (mux->kind == ADC_MUX_DIFF)
			mux->diff = 0;
		else
			continue;
		mux->src = 0;
	}
}

int machine_has_channel(machine *m, int channel)
{
	for (int i = 0; m->adc && i < MUXES; i++)
		if (m->adc->muxmode[i].kind == ADC_MUX_SINGLE && m->adc->muxmode[i].diff == channel)
			return 1;
	return 0;
}

static avr_cycle_count_t finish_conversion(avr_t *avr, avr_cycle_count_t when, void *param)
{
	(void)avr, (void)when;
	machine *m = param;
	m->adc->adc_values[0] = m->sampled;
	return 0;
}

static avr_cycle_count_t sample(avr_t *avr, avr_cycle_count_t when, void *param)
{
	(void)avr, (void)when;
	((machine *)param)->convert = 1;
	return 0;
}

static void conversion_starts(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	machine *m = param;
	union {
		avr_adc_mux_t mux;
		uint32_t v;
	} e = {.v = value};
	m->channel = e.mux.kind == ADC_MUX_SINGLE ? (int)e.mux.diff : -1;
	uint32_t power = avr_regbit_get_array(m->avr, m->adc->adps, 3);
	if (!power)
		power = 1;
	const uint32_t clock = 1u << power;
	const int first = m->adc->first; /* since the converter was enabled */
	/* Sample and hold 1.5 converter clocks after the start, 13.5 in the first conversion; 13 and 25 clocks in all:
	 * data sheet of the ATmega328P, "ADC Conversion Time". */
	avr_cycle_timer_register(m->avr, first ? 27 * clock / 2 : 3 * clock / 2, sample, m);
	/* The end is counted as simavr counts it, so that it is just before simavr's. */
	const uint32_t per_second = (m->avr->frequency >> power) / (first ? 25 : 13);
	avr_cycle_timer_register(m->avr, avr_hz_to_cycles(m->avr, per_second), finish_conversion, m);
}

/* A converter that is switched off forgets what it was about. And ADIF is cleared by writing a one, which simavr leaves out. */
static void adcsra_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	(void)avr, (void)address;
	machine *m = param;
	if (value >> m->adc->adc.raised.bit & 1)
		avr_clear_interrupt(m->avr, &m->adc->adc);
	if (value >> m->adc->aden.bit & 1)
		return;
	avr_cycle_timer_cancel(m->avr, sample, m);
	avr_cycle_timer_cancel(m->avr, finish_conversion, m);
}

void machine_converted(machine *m, uint32_t millivolts)
{
	if (millivolts > m->avr->aref)
		millivolts = m->avr->aref;
	m->sampled = millivolts;
}

/* --- EEPROM ---
 *
 * In simavr a byte is written at once, and EEPE never seen set. A real one takes 3.4 ms (data sheet of the ATmega328P, table
 * "EEPROM Programming Time"), for which firmware has to wait. */

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
	(void)avr, (void)address;
	machine *m = param;
	if (!m->eeprom_busy) {
		if (!(value & eepe(m)))
			return;
		m->eeprom_busy = 1;
		avr_cycle_timer_register_usec(m->avr, EEPROM_WRITE_US, eeprom_written, m);
	}
	m->avr->data[m->eeprom->r_eecr] |= eepe(m);
}

/* --- serial line ---
 *
 * simavr reckons how long a character takes when UBRRnL is written, with the double-speed bit of that moment, and it counts a
 * parity bit that may not be there. Here it is reckoned anew whenever one of the registers is written that matter. */

static void reckon_character(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq, (void)value;
	machine *m = param;
	avr_t *avr = m->avr;
	avr_uart_t *u = m->uart;
	const uint32_t divisor = avr_regbit_get(avr, u->ubrrl) | avr_regbit_get(avr, u->ubrrh) << 8;
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

static void byte_sent(avr_irq_t *irq, uint32_t value, void *param)
{
	(void)irq;
	machine *m = param;
	if (m->sents == SENT_MOST)
		return; /* a run ends well before */
	m->sent[m->sents++] = (machine_sent){m->avr->cycle, value};
}

/* simavr shows a character a character's time after it is told of it, and keeps up to 64. It is told at the end of the
 * character here, and a real receiver keeps two and the one that is being shifted in, which the next one overwrites: data sheet
 * of the ATmega328P, "Data OverRun". */
enum { RECEIVER_KEEPS = 3 };

void machine_receive(machine *m, uint8_t byte)
{
	avr_uart_t *u = m->uart;
	const unsigned size = sizeof u->input.buffer / sizeof *u->input.buffer; /* a power of two */
	if (((u->input.write - u->input.read) & (size - 1)) >= RECEIVER_KEEPS) {
		u->input.buffer[(u->input.read + RECEIVER_KEEPS - 1) & (size - 1)] = byte;
		avr_regbit_set(m->avr, u->dor);
		return;
	}
	const avr_cycle_count_t character = u->cycles_per_byte;
	u->cycles_per_byte = 1;
	avr_raise_irq(m->receive, byte);
	u->cycles_per_byte = character;
}

/* --- running --- */

static avr_cycle_count_t time_is_up(avr_t *avr, avr_cycle_count_t when, void *param)
{
	(void)avr, (void)when;
	((machine *)param)->stop = 1;
	return 0;
}

/* simavr lets a processor that sleeps sleep on to the next timer, and a cycle longer. It must not when the run has come to its
 * end, or something from outside would reach it late; and where the next timer is the end of the run and nothing else, the
 * cycle is given back, so that how the waiting is cut moves nothing by a cycle. */
static void sleeps(avr_t *avr, avr_cycle_count_t cycles)
{
	const machine *m = avr->custom.data;
	const avr_cycle_timer_slot_p next = avr->cycle_timers.timer;
	if (m->stop || m->convert)
		avr->cycle -= cycles + 1;
	else if (next && next->timer == time_is_up && (!next->next || next->next->when > next->when))
		avr->cycle--;
}

/* The processor starts anew by itself, and simavr has forgotten all timers, that of the run among them. */
static void was_reset(machine *m)
{
	m->resets++;
	m->fresh = 1;
	m->eeprom_busy = 0;
	m->stop = 1;
	/* A reset makes inputs of all pins. */
	for (int i = 0; i < m->ports; i++) {
		m->port[i].port = m->port[i].ddr = 0;
		/* simavr tells of changes only, and has not noticed this one. */
		m->port[i].written->value = m->port[i].turned->value = 0;
	}
	look(m);
}

static void on_reset(avr_t *avr)
{
	machine *m = avr->custom.data;
	if (!m)
		return;
	if (m->reset_before)
		m->reset_before(avr);
	was_reset(m);
}

/* Whether the next instruction is one of the image. */
static int in_code(machine *m)
{
	const uint32_t pc = m->avr->pc;
	if (pc - m->here.from < m->here.size)
		return 1;
	for (uint32_t i = 0; i < m->codes; i++)
		if (pc - m->code[i].from < m->code[i].size) {
			m->here = m->code[i];
			return 1;
		}
	return 0;
}

int machine_run(machine *m, uint64_t until, int stop_when_sent)
{
	avr_t *avr = m->avr;
	if (avr->cycle >= until)
		return RUN_TIME;
	m->stop = 0;
	avr_cycle_timer_register(avr, until - avr->cycle, time_is_up, m);
	int reason = RUN_TIME;
	for (;;) {
		if (!in_code(m)) {
			m->ran_off = 1;
			reason = RUN_STOPPED;
			break;
		}
		m->at = avr->pc;
		if (!m->at) {
			/* A jump to 0, as an interrupt without a routine makes it, is a start that no reset has asked for. */
			m->resets += !m->fresh;
			m->fresh = 0;
		}
		avr_run(avr);
		if (avr->state == cpu_Done || avr->state == cpu_Crashed || m->invalid) {
			reason = RUN_STOPPED;
			break;
		}
		if (m->convert) {
			m->convert = 0;
			if (m->channel >= 0) {
				reason = RUN_CONVERT;
				break;
			}
		}
		if (m->sents && (stop_when_sent || m->sents > SENT_MOST / 2)) {
			reason = RUN_SENT;
			break;
		}
		if (m->stop) {
			reason = avr->cycle >= until ? RUN_TIME : RUN_EDGES;
			break;
		}
	}
	avr_cycle_timer_cancel(avr, time_is_up, m);
	return reason;
}

void machine_run_bare(machine *m, uint64_t until)
{
	while (m->avr->cycle < until && m->avr->state != cpu_Done && m->avr->state != cpu_Crashed)
		avr_run(m->avr);
}

/* --- trace --- */

static void trace_pin(machine *m, const machine_pin *p, const char *what, int output)
{
	if (!p->port)
		return;
	char name[32];
	snprintf(name, sizeof name, "%s%d", what, output);
	avr_vcd_add_signal(m->trace, avr_io_getirq(m->avr, AVR_IOCTL_IOPORT_GETIRQ(p->port), p->bit), 1, name);
}

int machine_trace(machine *m, const char *file)
{
	m->trace = calloc(1, sizeof *m->trace);
	if (!m->trace)
		return 0;
	avr_vcd_init(m->avr, file, m->trace, 1000);
	for (int i = 0; i < m->outputs; i++) {
		const machine_output *o = &m->output[i];
		trace_pin(m, &o->direction, "direction", i);
		trace_pin(m, &o->enable, "enable", i);
		trace_pin(m, &o->brake, "brake", i);
		trace_pin(m, &o->positive, "positive", i);
		trace_pin(m, &o->negative, "negative", i);
	}
	return avr_vcd_start(m->trace) == 0;
}

/* --- life --- */

/* simavr 1.6 writes outside of its tables when it builds one of these. */
static int unsound(const char *mcu) { return strcmp(mcu, "atmega16m1") == 0; }

machine *machine_new(const char *mcu, uint32_t frequency, uint32_t millivolts, const machine_output *outputs, int count,
		     char uart, machine_trouble *trouble, char *port)
{
	*trouble = NO_MEMORY;
	machine *m = calloc(1, sizeof *m);
	if (!m)
		return NULL;
	*trouble = NO_PROCESSOR;
	avr_t *avr = unsound(mcu) ? NULL : avr_make_mcu_by_name(mcu);
	if (!avr)
		goto bad;
	m->avr = avr;
	avr->custom.data = m;
	avr_init(avr); /* sets the frequency to its default */
	avr->frequency = frequency;
	avr->vcc = avr->avcc = avr->aref = millivolts;
	avr->log = LOG_WARNING;
	avr->sleep = sleeps;
	m->fresh = 1;
	*trouble = NO_UART;
	m->uart = uart_of(avr, uart);
	if (!m->uart)
		goto bad;
	m->uart->flags &= ~(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
	m->receive = m->uart->io.irq + UART_IRQ_INPUT;
	const uint16_t registers[] = {m->uart->ubrrl.reg, m->uart->ubrrh.reg, m->uart->r_ucsra, m->uart->r_ucsrb, m->uart->r_ucsrc};
	for (size_t i = 0; i < sizeof registers / sizeof *registers; i++)
		if (registers[i])
			avr_irq_register_notify(avr_iomem_getirq(avr, registers[i], NULL, AVR_IOMEM_IRQ_ALL), reckon_character, m);
	if (count == 0)
		return m;
	*trouble = NO_PORT;
	m->outputs = count;
	for (int i = 0; i < count; i++) {
		const machine_output *o = &outputs[i];
		const machine_pin *pins[] = {&o->direction, &o->enable, &o->brake, &o->positive, &o->negative};
		m->output[i] = *o;
		for (size_t k = 0; k < sizeof pins / sizeof *pins; k++)
			if (!watch_port(m, pins[k])) {
				*port = pins[k]->port;
				goto bad;
			}
	}
	avr_irq_register_notify(m->uart->io.irq + UART_IRQ_OUTPUT, byte_sent, m);
	m->adc = part_of(avr, "adc");
	if (m->adc) {
		join_channels(m->adc);
		avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), conversion_starts, m);
		avr_register_io_write(avr, m->adc->r_adcsra, adcsra_written, m); /* after simavr's own */
	}
	m->eeprom = part_of(avr, "eeprom");
	if (m->eeprom)
		avr_register_io_write(avr, m->eeprom->r_eecr, eecr_written, m);
	m->reset_before = avr->reset;
	avr->reset = on_reset;
	look(m); /* without an enable pin there is power from the first instant on */
	return m;
bad:
	machine_free(m);
	return NULL;
}

/* What avr_terminate leaves: the lines of registers and of interrupts. */
static void free_lines(avr_t *avr)
{
	for (int i = 0; i < MAX_IOs; i++)
		if (avr->io[i].irq)
			avr_free_irq(avr->io[i].irq, 9); /* as many as avr_iomem_getirq makes */
	for (int i = 0; i < avr->irq_pool.count; i++)
		if (avr->irq_pool.irq[i])
			avr_free_irq(avr->irq_pool.irq[i], 1);
	free(avr->irq_pool.irq);
}

void machine_free(machine *m)
{
	if (m->trace) {
		avr_vcd_close(m->trace);
		free(m->trace);
	}
	if (m->avr) {
		avr_terminate(m->avr);
		free_lines(m->avr);
		free(m->avr);
	}
	free(m->code);
	free(m);
}

int machine_load(machine *m, const uint8_t *bytes, uint32_t size, uint32_t address)
{
	if (m->codes == m->room) {
		const uint32_t room = m->room ? 2 * m->room : 4;
		stretch *code = realloc(m->code, room * sizeof *code);
		if (!code)
			return 0;
		m->code = code;
		m->room = room;
	}
	m->code[m->codes++] = (stretch){address, size};
	avr_loadcode(m->avr, (uint8_t *)bytes, size, address);
	return 1;
}

const char *machine_processor(int i)
{
	extern avr_kind_t *avr_kind[]; /* simavr has it in a header that is not installed */
	for (int k = 0; avr_kind[k]; k++)
		for (int j = 0; j < 4 && avr_kind[k]->names[j]; j++)
			if (!unsound(avr_kind[k]->names[j]) && i-- == 0)
				return avr_kind[k]->names[j];
	return NULL;
}

int machine_flash_size(machine *m) { return m->avr->flashend + 1; }
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

const machine_edge *machine_edges(machine *m, int *count)
{
	*count = m->edges;
	m->edges = 0;
	return m->edge;
}

const machine_sent *machine_sent_bytes(machine *m, int *count)
{
	*count = m->sents;
	m->sents = 0;
	return m->sent;
}

uint64_t machine_cycle(machine *m) { return m->avr->cycle; }
uint32_t machine_at(machine *m) { return m->at; }
uint32_t machine_next(machine *m) { return m->avr->pc; }
uint32_t machine_sp(machine *m) { return m->avr->data[R_SPL] | m->avr->data[R_SPH] << 8; }
int machine_channel(machine *m) { return m->channel; }
uint32_t machine_resets(machine *m) { return m->resets; }
const char *machine_log(machine *m) { return m->log; }

int machine_state(machine *m)
{
	if (m->ran_off)
		return MACHINE_RAN_OFF;
	if (m->invalid)
		return MACHINE_INVALID;
	return m->avr->state == cpu_Crashed ? MACHINE_CRASHED : m->avr->state == cpu_Done ? MACHINE_SLEEPS_FOR_EVER : MACHINE_RUNS;
}
