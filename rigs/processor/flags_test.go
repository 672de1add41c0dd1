//go:build simavr

package processor

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Overflow, both compares and a capture are there; a one clears its own flag and no other, by out and by sbi.
func TestAOneClearsItsOwnFlagAndNoOther(t *testing.T) {
	const up = `serial_start(); OCR1A = 10; OCR1B = 20; TCCR1B = _BV(CS10) | _BV(ICES1); _delay_ms(10);`
	for name, c := range map[string]struct {
		clear string
		left  byte
	}{
		"nothing":              {"", 0x27},
		"the capture":          {"TIFR1 = _BV(ICF1);", 0x07},
		"a compare":            {"TIFR1 = _BV(OCF1B);", 0x23},
		"the overflow, by sbi": {`__asm__ volatile("sbi %0, %1" : : "I"(_SFR_IO_ADDR(TIFR1)), "I"(TOV1));`, 0x26},
		"all":                  {"TIFR1 = 0xFF;", 0},
	} {
		t.Run(name, func(t *testing.T) {
			m := small(t, "atmega328p", "", fastC+"int main(void) { "+up+" TCCR1B = 0; "+c.clear+" put(TIFR1); for (;;) ; }")
			require.NoError(t, m.SetPin(2000, Pin{'B', 0}, true))
			assert.Equal(t, []byte{c.left}, bytesOf(run(t, m, clock/50)))
		})
	}
}

func TestAFlagThatIsUpInterruptsWhenItIsEnabled(t *testing.T) {
	for name, c := range map[string]struct{ vector, enable, clear string }{
		"a capture":             {"TIMER1_CAPT_vect", "TIMSK1 = _BV(ICIE1);", "TIFR1 = _BV(ICF1);"},
		"an overflow":           {"TIMER1_OVF_vect", "TIMSK1 = _BV(TOIE1);", "TIFR1 = _BV(TOV1);"},
		"an external interrupt": {"INT0_vect", "EIMSK = _BV(INT0);", "EIFR = _BV(INTF0);"},
		"a pin change":          {"PCINT2_vect", "PCICR = _BV(PCIE2);", "PCIFR = _BV(PCIF2);"},
		"a conversion":          {"ADC_vect", "ADCSRA = _BV(ADEN) | _BV(ADIE) | 7;", "ADCSRA = _BV(ADEN) | _BV(ADIF) | 7;"},
	} {
		t.Run(name, func(t *testing.T) {
			for cleared, want := range map[string][]byte{"": []byte("i."), c.clear: []byte(".")} {
				m := small(t, "atmega328p", "", fastC+`
ISR(`+c.vector+`) { put('i'); }
int main(void)
{
	serial_start();
	EICRA = _BV(ISC00);
	PCMSK2 = _BV(2);
	TCCR1B = _BV(CS10) | _BV(ICES1);
	ADCSRA = _BV(ADEN) | _BV(ADSC) | 7;
	_delay_ms(10);
	TCCR1B = 0;
	`+cleared+`
	sei();
	`+c.enable+`
	_delay_us(10);
	put('.');
	for (;;)
		;
}
`)
				require.NoError(t, m.SetPin(2000, Pin{'B', 0}, true))
				require.NoError(t, m.SetPin(2000, Pin{'D', 2}, true))
				assert.Equal(t, want, bytesOf(run(t, m, clock/50)), "%s", cleared)
			}
		})
	}
}

// An interrupt that uses the timer's register between the two writes of another spoils it, as it does on the part.
func TestTheHighBytesOfATimerShareARegister(t *testing.T) {
	for name, c := range map[string]struct {
		between string
		want    uint16
	}{
		"nothing between":                   {"", 0x1234},
		"a read of the count between":       {"(void)TCNT1;", 0x0034},
		"a write of another compare":        {"OCR1B = 0x5678;", 0x5634},
		"a write of another timer's":        {"OCR3B = 0x5678;", 0x1234},
		"a write of a compare's high alone": {"OCR1BH = 0x77;", 0x7734},
	} {
		t.Run(name, func(t *testing.T) {
			m := small(t, "atmega2560", "", fastC+"int main(void) { serial_start(); OCR1AH = 0x12; "+c.between+" OCR1AL = 0x34; tell(OCR1A); for (;;) ; }")
			assert.Equal(t, []uint16{c.want}, wordsOf(run(t, m, 5000)))
		})
	}
}

// One instruction, and no more, comes between the end of a routine and the next interrupt: data sheet of the ATmega328P, "Reset and
// Interrupt Handling". And as much after sei.
func TestOneInstructionComesBeforeAnInterruptThatWaits(t *testing.T) {
	m := small(t, "atmega328p", "B", `#asm
#include <avr/io.h>
.global main
.global __vector_1  ; INT0
.global __vector_2  ; INT1
__vector_1:
__vector_2:
	sbi _SFR_IO_ADDR(PINB), 0
	reti
main:
	sbi _SFR_IO_ADDR(DDRB), 0
	ldi r24, 5          ; any edge
	sts EICRA, r24
	ldi r24, 3
	out _SFR_IO_ADDR(EIMSK), r24
	sbi _SFR_IO_ADDR(DDRD), 2
	sbi _SFR_IO_ADDR(DDRD), 3
	sbi _SFR_IO_ADDR(PORTD), 2
	sbi _SFR_IO_ADDR(PORTD), 3
	sei
	sbi _SFR_IO_ADDR(PINB), 0
	sbi _SFR_IO_ADDR(PINB), 0
	sbi _SFR_IO_ADDR(PINB), 0
1:	rjmp 1b
`)
	run(t, m, 1000)
	var at []uint64
	for _, c := range m.Changes(nil) {
		at = append(at, c.Cycle)
	}
	require.Len(t, at, 5)
	const sbi, entry, jump, reti = 2, 4, 3, 4
	// The first sbi, INT0, the second sbi, INT1, the third.
	assert.Equal(t, []uint64{at[0], at[0] + sbi + entry + jump, at[0] + sbi + entry + jump + sbi + reti, at[0] + 2*(sbi+entry+jump) + sbi + reti,
		at[0] + 2*(sbi+entry+jump+sbi+reti)}, at)
}
