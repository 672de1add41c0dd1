//go:build simavr

package processor

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The data sheet's words: a top that is written below the count is missed, and the timer goes on to the end of its bits.
func TestATopThatIsWrittenTooLateIsMissed(t *testing.T) {
	for _, c := range []struct {
		name, mcu, watch, pin, n string
		end                      uint64 // of the timer's bits
	}{
		{"timer 1", "atmega328p", "B", "DDRB = _BV(1); TCCR1A = _BV(COM1A0); TCCR1B = _BV(WGM12) | _BV(CS11);", "1", 65536},
		{"timer 2", "atmega328p", "B", "DDRB = _BV(3); TCCR2A = _BV(COM2A0) | _BV(WGM21); TCCR2B = _BV(CS21);", "2", 256},
		{"timer 3 of another", "atmega2560", "E", "DDRE = _BV(3); TCCR3A = _BV(COM3A0); TCCR3B = _BV(WGM32) | _BV(CS31);", "3", 65536},
	} {
		for _, late := range []int{100, 114, 117, 150} {
			t.Run(fmt.Sprintf("%s at %d", c.name, late), func(t *testing.T) {
				m := small(t, c.mcu, c.watch, fastC+fmt.Sprintf(`
int main(void)
{
	serial_start();
	OCR%[1]sA = 199;
	%[2]s
	TCNT%[1]s = 0;
	while (TCNT%[1]s < %[3]d)
		;
	OCR%[1]sA = 115;
	while (TCNT%[1]s < 160 && TCNT%[1]s >= %[3]d)
		;
	tell(TCNT%[1]s);
	for (;;)
		;
}
`, c.n, c.pin, late))
				words := wordsOf(run(t, m, 8*4*c.end))
				changes := m.Changes(nil)
				for len(changes) > 0 && changes[0].Value == 0 {
					changes = changes[1:]
				}
				require.GreaterOrEqual(t, len(changes), 3)
				assert.EqualValues(t, 8*116, changes[2].Cycle-changes[1].Cycle, "then on as told")
				begun := changes[0].Cycle // the count is zero then
				if late <= 115 {
					assert.Less(t, words[0], uint16(100), "it began anew at the new top")
					assert.Less(t, begun, uint64(8*200+600), "in its time")
					return
				}
				assert.InDelta(t, 160, words[0], 2, "the count goes on")
				assert.InDelta(t, 8*(c.end+116), begun, 600, "and to the end, less what the start of the firmware takes")
			})
		}
	}
}

// A match of one compare register happens whatever is written to the other at the time.
func TestAMatchIsNotLostWhenTheOtherCompareRegisterIsWritten(t *testing.T) {
	for _, end := range []string{"", "__asm__ volatile(\"nop\");", "__asm__ volatile(\"nop\\n nop\");"} {
		m := small(t, "atmega328p", "", fastC+`
int main(void)
{
	serial_start();
	OCR1A = 30000;
	TCCR1B = _BV(CS10);
	uint16_t other = 50000;
	for (uint8_t matches = 0;;) {
		OCR1B = ++other | 0x8000;
		`+end+`
		if (TIFR1 & _BV(OCF1A)) {
			TIFR1 = _BV(OCF1A);
			put(++matches);
		}
	}
}
`)
		assert.Len(t, bytesOf(run(t, m, 40*65536)), 40)
	}
}

// A match at the very beginning of the count happens too, wherever in an instruction the overflow falls.
func TestAMatchRightAfterAnOverflowIsNotLost(t *testing.T) {
	for top := range 5 {
		for _, end := range []string{"", "nop", "nop\\n nop"} {
			m := small(t, "atmega328p", "", fastC+fmt.Sprintf(`
ISR(TIMER1_OVF_vect) { }
ISR(TIMER1_COMPA_vect) { put('m'); }
int main(void)
{
	serial_start();
	OCR1A = %d;
	TIMSK1 = _BV(TOIE1) | _BV(OCIE1A);
	TCCR1B = _BV(CS10);
	sei();
	for (;;)
		__asm__ volatile("rcall 1f\n rjmp 2f\n 1: ret\n 2: %s"); /* a return takes four cycles */
}
`, top, end))
			assert.InDelta(t, 40, len(bytesOf(run(t, m, 40*65536+5000))), 1, "OCR1A = %d, %q", top, end) // perhaps one at the start
		}
	}
}
