#include "current.h"

#include <avr/interrupt.h>
#include <util/atomic.h>

#include "acknowledge.h"
#include "board.h"
#include "defects.h"
#include "power.h"
#include "track.h"

/* An overload is a filtered reading above a threshold for some time; filter and time let the inrush of decoders through. No
 * published standard has figures: these are our own, and the station file declares what comes of them. */
typedef struct {
	uint16_t threshold;
	uint16_t hold; /* readings */
} limit_t;

static const limit_t limit[OUTPUTS] = {
	[MAIN] = {COUNTS(2000), READINGS(30)},
	[PROGRAMMING] = {COUNTS(275), READINGS(50)},
};

#define FILTER (HAS(FILTER_OVERFLOW) ? 7 : 4)

static volatile struct {
	uint16_t filtered; /* in sixteenths, time constant of 16 readings: 3.3 ms */
	uint32_t mean;     /* in 1/128, of 128 readings: 27 ms */
	uint16_t over;     /* readings in a row above the threshold */
} watch[OUTPUTS];

static uint8_t turn;

void current_start(void)
{
	/* Reference is the supply of 5 V; clock divided by 128; each conversion is started by the end of the one before. */
	ADMUX = _BV(REFS0) | turn;
	ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
	ADCSRA |= _BV(ADSC);
}

ISR(ADC_vect)
{
	const uint16_t counts = ADC;
	const uint8_t output = turn;
	turn ^= 1;
	if (HAS(WRONG_CHANNEL))
		ADCSRA |= _BV(ADSC);
	ADMUX = _BV(REFS0) | turn;
	ADCSRA |= _BV(ADSC);

	watch[output].mean += counts - (watch[output].mean >> 7);
	watch[output].filtered += counts - (watch[output].filtered >> FILTER);
	if (output == PROGRAMMING)
		acknowledge_reading(counts);
	if (watch[output].filtered >> FILTER < limit[output].threshold || !track_powered(output)) {
		watch[output].over = 0;
		return;
	}
	if (++watch[output].over >= limit[output].hold) {
		if (HAS(TRIP_IN_MAIN_LOOP)) {
			defect_overload(output);
			return;
		}
		track_cut(output);
		if (HAS(TRIP_TOLD_IN_INTERRUPT))
			defect_tell();
		power_tripped(output);
	}
}

void current_forget(uint8_t output)
{
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		watch[output].filtered = 0;
		watch[output].over = 0;
	}
}

uint16_t current_milliamperes(uint8_t output)
{
	uint32_t mean;
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		mean = watch[output].mean;
	}
	if (HAS(MILLIAMPERES_OVERFLOW))
		return (uint16_t)(mean >> 7) * 5000 / 1024;
	return (mean * 5000 / 1024 + 64) >> 7;
}
