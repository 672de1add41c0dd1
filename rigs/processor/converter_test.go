//go:build simavr

package processor

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A conversion that a timer starts samples two clocks of the converter after the flag has gone up, always: data sheet of the
// ATmega328P, "ADC Conversion Time", auto triggered conversions.
func TestATimerStartsConversionsAtItsPace(t *testing.T) {
	for name, c := range map[string]struct {
		setup, clear string
		every        uint64
	}{
		"a compare of timer 1":  {"ADCSRB = 5; TCCR1B = _BV(WGM12) | _BV(CS10); OCR1A = 4999; OCR1B = 100;", "TIFR1 = _BV(OCF1B);", 5000},
		"a compare of timer 0":  {"ADCSRB = 3; TCCR0A = _BV(WGM01); TCCR0B = _BV(CS01); OCR0A = 249;", "TIFR0 = _BV(OCF0A);", 2000},
		"an overflow, not read": {"ADCSRB = 6; TCCR1B = _BV(CS10);", "", 0},
	} {
		t.Run(name, func(t *testing.T) {
			m := small(t, "atmega328p", "", fastC+`
int main(void)
{
	serial_start();
	ADMUX = _BV(REFS0) | 3;
	ADCSRA = _BV(ADEN) | _BV(ADSC) | 4; /* a clock is 16 cycles */
	while (ADCSRA & _BV(ADSC))
		;
	ADCSRA = _BV(ADEN) | _BV(ADATE) | _BV(ADIF) | 4;
	`+c.setup+`
	for (;;) {
		while (!(ADCSRA & _BV(ADIF)))
			;
		ADCSRA |= _BV(ADIF);
		`+c.clear+`
		tell(ADC);
	}
}
`)
			var sampled []uint64
			var sent []Sent
			for m.Cycle() < 200_000 {
				why := m.Run(200_000, false)
				sent = m.SentBytes(sent)
				if why == Converting {
					require.Equal(t, 3, m.Channel())
					sampled = append(sampled, m.SampledAt())
					m.Converted(uint32(len(sampled)%40) * 100)
				}
			}
			sampled = sampled[1:] // the first was started by the firmware
			assert.Empty(t, m.Log())
			if c.every == 0 {
				require.Len(t, sampled, 1, "a flag that stays up starts nothing")
				return
			}
			require.Greater(t, len(sampled), 30)
			for i := range sampled[1:] {
				require.Equal(t, c.every, sampled[i+1]-sampled[i])
			}
			for i, w := range wordsOf(sent) {
				require.Equal(t, (i+2)%40*100*1023/5000, int(w))
			}
		})
	}
}
