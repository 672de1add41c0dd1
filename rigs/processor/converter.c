//go:build simavr

/* The converter.
 *
 * simavr computes the result when the program reads it, from the voltage and the channel of that moment. The real one
 * samples shortly after the start and keeps the result. So the rig is asked at the instant of sampling, and when the
 * conversion ends, what it said is the voltage of the one channel that all others have been made to mean. (simavr 1.6 has
 * room for eight, and reads beyond them where a processor has more.) The channel's own number is kept in a field that means
 * nothing for such channels. A difference of two channels is nothing, then: no bridge is measured so. */
#include "inside.h"

#include <string.h>

#include <simavr/avr_extint.h>
#include <simavr/sim_time.h>

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
	(void)avr;
	machine *m = param;
	m->convert = 1;
	m->sampled_at = when;
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
	/* Sample and hold 1.5 converter clocks after the start, 2 after a trigger, 13.5 in the first conversion; 13 and 25 clocks in
	 * all: data sheet of the ATmega328P, "ADC Conversion Time". */
	avr_cycle_timer_register(m->avr, (first ? 27 : m->triggered ? 4 : 3) * clock / 2, sample, m);
	/* The end is counted as simavr counts it, so that it is just before simavr's. */
	const uint32_t per_second = (m->avr->frequency >> power) / (first ? 25 : 13);
	avr_cycle_timer_register(m->avr, avr_hz_to_cycles(m->avr, per_second), finish_conversion, m);
}

/* A converter that is switched off forgets what it was about. And ADIF is cleared by writing a one, where simavr takes the bit
 * that is written. */
static void adcsra_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	machine *m = ((wrap *)param)->owner;
	const uint8_t was = avr_regbit_get(avr, m->adc->adc.raised);
	write_under(param, address, value);
	if (value >> m->adc->adc.raised.bit & 1)
		avr_clear_interrupt(avr, &m->adc->adc);
	else if (was)
		avr_regbit_set(avr, m->adc->adc.raised);
	if (value >> m->adc->aden.bit & 1)
		return;
	avr_cycle_timer_cancel(avr, sample, m);
	avr_cycle_timer_cancel(avr, finish_conversion, m);
}

void machine_converted(machine *m, uint32_t millivolts)
{
	if (millivolts > m->avr->aref)
		millivolts = m->avr->aref;
	m->sampled = millivolts;
}

/* --- triggers: simavr 1.6 knows none but the end of the conversion before ---
 *
 * A conversion starts when the flag of the chosen interrupt goes up, whether that is enabled or not, and not again until it
 * has been down: data sheet of the ATmega328P, "Starting a Conversion". */

/* When a flag has gone up that goes up now. simavr calls at the end of an instruction in which a timer has come there. */
static avr_cycle_count_t went_up(const avr_t *avr, const trigger *t)
{
	if (!t->timer)
		return avr->cycle;
	const avr_cycle_count_t after = t->compare ? t->compare->comp_cycles : t->timer->tov_cycles;
	const avr_cycle_count_t when = t->timer->tov_base + after;
	/* A compare at the top comes with the beginning of the next round. */
	return when <= avr->cycle ? when : t->timer->tov_base;
}

static void flag_moves(avr_irq_t *irq, uint32_t value, void *param)
{
	const trigger *t = param;
	machine *m = t->owner;
	avr_adc_t *adc = m->adc;
	if (!value || irq->value || !avr_regbit_get(m->avr, adc->aden) || !avr_regbit_get(m->avr, adc->adate))
		return;
	if (adc->adts_op[avr_regbit_get_array(m->avr, adc->adts, sizeof adc->adts / sizeof *adc->adts)] != t->source)
		return;
	const avr_cycle_count_t now = m->avr->cycle;
	m->avr->cycle = went_up(m->avr, t);
	m->triggered = 1;
	avr_raise_irq(adc->io.irq + ADC_IRQ_IN_TRIGGER, 1);
	m->triggered = 0;
	m->avr->cycle = now;
}

static void triggers(machine *m, avr_int_vector_t *v, avr_adts_type source, const avr_timer_t *timer, const avr_timer_comp_t *compare)
{
	if (!v->vector || m->triggers == TRIGGERS_MOST)
		return;
	trigger *t = &m->trigger[m->triggers++];
	*t = (trigger){m, source, timer, compare};
	avr_irq_register_notify(v->irq + AVR_INT_IRQ_PENDING, flag_moves, t);
}

static void attach_triggers(machine *m)
{
	for (avr_io_t *io = m->avr->io_port; io; io = io->next) {
		if (io->kind && !strcmp(io->kind, "timer")) {
			avr_timer_t *t = (avr_timer_t *)io;
			if (t->name == '0') {
				triggers(m, &t->comp[AVR_TIMER_COMPA].interrupt, avr_adts_timer_0_compare_match_a, t, &t->comp[AVR_TIMER_COMPA]);
				triggers(m, &t->comp[AVR_TIMER_COMPB].interrupt, avr_adts_timer_0_compare_match_b, t, &t->comp[AVR_TIMER_COMPB]);
				triggers(m, &t->overflow, avr_adts_timer_0_overflow, t, NULL);
			} else if (t->name == '1') {
				triggers(m, &t->comp[AVR_TIMER_COMPB].interrupt, avr_adts_timer_1_compare_match_b, t, &t->comp[AVR_TIMER_COMPB]);
				triggers(m, &t->overflow, avr_adts_timer_1_overflow, t, NULL);
				triggers(m, &t->icr, avr_adts_timer_1_capture_event, NULL, NULL);
			}
		} else if (io->kind && !strcmp(io->kind, "extint")) {
			triggers(m, &((avr_extint_t *)io)->eint[0].vector, avr_adts_external_interrupt_0, NULL, NULL);
		}
	}
}

void attach_converter(machine *m)
{
	avr_t *avr = m->avr;
	m->adc = part_of(avr, "adc");
	if (!m->adc)
		return;
	join_channels(m->adc);
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), conversion_starts, m);
	wrap_write(m, m->adc->r_adcsra, adcsra_written, NULL);
	attach_triggers(m);
}
