//go:build simavr

/* A machine: how it comes to be, runs and ends. */
#include "inside.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/sim_core.h>

/* What simavr complains of. An invalid instruction it tells in no other way, and goes on. */
static void keep_log(avr_t *avr, const int level, const char *format, va_list arguments)
{
	machine *m = avr ? avr->custom.data : NULL;
	if (!m || level > LOG_WARNING)
		return;
	if (strstr(format, "unimplemented auto trigger mode")) /* it is implemented in converter.c */
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

void *part_of(avr_t *avr, const char *kind)
{
	for (avr_io_t *io = avr->io_port; io; io = io->next)
		if (io->kind && strcmp(io->kind, kind) == 0)
			return io;
	return NULL;
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
	m->was_reset = 1;
	pins_were_reset(m);
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
	outside_due(m);
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
		if (m->was_reset) {
			m->was_reset = 0;
			pins_after_reset(m);
			serial_after_reset(m);
			timers_after_reset(m);
			interrupts_after_reset(m);
		}
		/* After sei and reti one instruction comes before an interrupt (data sheet of the ATmega328P, "Reset and Interrupt
		 * Handling"), of which simavr makes two. */
		if (avr->interrupt_state == -1)
			avr->interrupt_state = avr_has_pending_interrupts(avr);
		if (m->entered) {
			avr->cycle += m->entered;
			m->entered = 0;
			avr_cycle_timer_process(avr);
		}
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
			reason = avr->cycle >= until ? RUN_TIME : RUN_CHANGES;
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

/* --- life --- */

/* simavr 1.6 writes outside of its tables when it builds one of these. */
static int unsound(const char *mcu) { return strcmp(mcu, "atmega16m1") == 0; }

/* simavr looks into flash and memory wherever a program that has gone astray points to: a jump, a read through Z, a stack that has
 * left the memory. It says that the program has crashed, and touches what lies there all the same, which is the heap of this
 * process. So both get room for all that a pointer of the processor can hold. */
static int widen(avr_t *avr)
{
	const uint32_t flash = avr->address_size > 2 ? 1u << 24 : 1u << 17; /* RAMPZ and Z, or a program counter of words */
	const uint32_t memory = (1u << 16) + 64;                           /* Y or Z, and a displacement of six bits */
	uint8_t *code = malloc(flash + 4), *data = calloc(1, memory);
	if (!code || !data) {
		free(code);
		free(data);
		return 0;
	}
	memset(code, 0xFF, flash + 4);
	memcpy(code, avr->flash, avr->flashend + 1);
	memcpy(data, avr->data, avr->ramend + 1);
	free(avr->flash);
	free(avr->data);
	avr->flash = code;
	avr->data = data;
	return 1;
}

machine *machine_new(const char *mcu, uint32_t frequency, uint32_t millivolts, const char *watch, char uart, int bare,
		     machine_trouble *trouble, char *port)
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
	*trouble = NO_MEMORY;
	if (!widen(avr))
		goto bad;
	avr->frequency = frequency;
	avr->vcc = avr->avcc = avr->aref = millivolts;
	avr->log = LOG_WARNING;
	avr->sleep = sleeps;
	m->fresh = 1;
	m->bare = bare;
	*trouble = NO_UART;
	if (!attach_serial(m, uart))
		goto bad;
	if (bare)
		return m;
	*trouble = NO_PORT;
	for (; *watch; watch++)
		if (!watch_port(m, *watch)) {
			*port = *watch;
			goto bad;
		}
	attach_pins(m);
	attach_converter(m);
	attach_eeprom(m);
	attach_compares(m);
	attach_timers(m);
	attach_interrupts(m);
	m->reset_before = avr->reset;
	avr->reset = on_reset;
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
	free(m->coming);
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
const machine_change *machine_changes(machine *m, int *count)
{
	*count = m->changes;
	m->changes = 0;
	return m->change;
}

const machine_sent *machine_sent_bytes(machine *m, int *count)
{
	*count = m->sents;
	m->sents = 0;
	return m->sent;
}

void machine_stop_at_changes(machine *m) { m->stop_at_changes = 1; }
uint64_t machine_cycle(machine *m) { return m->avr->cycle; }
uint32_t machine_at(machine *m) { return m->at; }
uint32_t machine_next(machine *m) { return m->avr->pc; }
uint8_t machine_data(machine *m, uint32_t address) { return address <= m->avr->ramend ? m->avr->data[address] : 0; }
uint32_t machine_sp(machine *m) { return m->avr->data[R_SPL] | m->avr->data[R_SPH] << 8; }
int machine_channel(machine *m) { return m->channel; }
uint64_t machine_sampled_at(machine *m) { return m->sampled_at; }
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
