//go:build simavr

package processor

import (
	"testing"

	"bufferstop/rigs/processor/imagetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const clock = 16_000_000

// small is a machine with a small firmware. It is freed with the test.
func small(t testing.TB, mcu, watch, source string) *Machine {
	t.Helper()
	m, err := New(Config{MCU: mcu, Clock: clock, Millivolts: 5000, Watch: watch})
	require.NoError(t, err)
	t.Cleanup(m.Free)
	require.NoError(t, m.Flash(parsed(t, imagetest.Compile(t, mcu, source))))
	return m
}

// fastC is the head of small firmware that speaks at 2 Mbaud, where a character takes 80 cycles.
const fastC = `#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>
#include <util/delay.h>
static inline void serial_start(void) { UCSR0A = _BV(U2X0); UBRR0 = 0; UCSR0B = _BV(RXEN0) | _BV(TXEN0); }
static inline void put(uint8_t b) { while (!(UCSR0A & _BV(UDRE0))); UDR0 = b; }
static inline uint8_t take(void) { while (!(UCSR0A & _BV(RXC0))); return UDR0; }
static inline void tell(uint16_t n) { put(n); put(n >> 8); }
`

// run runs to a cycle and returns what was sent.
func run(t testing.TB, m *Machine, until uint64) (sent []Sent) {
	t.Helper()
	for m.Cycle() < until {
		why := m.Run(until, false)
		sent = m.SentBytes(sent)
		require.NotEqual(t, Stopped, why, "%s", m.Log())
	}
	return sent
}

func bytesOf(sent []Sent) (b []byte) {
	for _, s := range sent {
		b = append(b, s.Byte)
	}
	return b
}

// wordsOf are the numbers that a firmware tells.
func wordsOf(sent []Sent) (words []uint16) {
	for ; len(sent) >= 2; sent = sent[2:] {
		words = append(words, uint16(sent[0].Byte)|uint16(sent[1].Byte)<<8)
	}
	return words
}

func TestWatchedPortsTellWhatTheirPinsDoAndWhen(t *testing.T) {
	m := small(t, "atmega2560", "AGA", `#asm
#include <avr/io.h>
.global main
main:
	ldi r24, 0xFF
	out _SFR_IO_ADDR(DDRA), r24
	ldi r25, 0x81
	out _SFR_IO_ADDR(PORTA), r25
	sbi _SFR_IO_ADDR(PORTG), 1   ; an input with its pull-up: nothing is driven
	sbi _SFR_IO_ADDR(DDRG), 1
	out _SFR_IO_ADDR(PORTC), r25 ; nobody watches
	sbi _SFR_IO_ADDR(PINA), 1    ; turns over that pin and no other
	cbi _SFR_IO_ADDR(DDRA), 7
1:	rjmp 1b
`)
	run(t, m, 100)
	changes := m.Changes(nil)
	require.Len(t, changes, 4)
	first := changes[0].Cycle
	assert.Equal(t, []Change{
		{first, 'A', 0x81, false},
		{first + 3, 'G', 0x02, false}, // out 1, sbi 2
		{first + 6, 'A', 0x83, false}, // sbi 2, out 1
		{first + 8, 'A', 0x03, false}, // sbi 2
	}, changes)
	assert.Empty(t, m.Changes(nil), "they are taken once")
}

func TestAResetMakesInputsOfAllPinsAtOnceAndKeepsWhatHoldsThem(t *testing.T) {
	m := small(t, "atmega2560", "AC", fastC+`
int main(void)
{
	wdt_enable(WDTO_15MS);
	serial_start();
	put(PINL);
	DDRA = PORTA = 1;
	DDRC = PORTC = 2;
	for (;;)
		;
}
`)
	require.NoError(t, m.SetPin(0, Pin{'L', 3}, true))
	sent := run(t, m, clock/50)
	assert.Equal(t, 1, m.Resets())
	assert.Equal(t, []byte{8, 8}, bytesOf(sent), "the level at the pin, before and after")
	changes := m.Changes(nil)
	require.Len(t, changes, 6)
	reset := changes[2:4]
	assert.Equal(t, []Change{{reset[0].Cycle, 'A', 0, true}, {reset[0].Cycle, 'C', 0, false}}, reset)
}

func TestWhatAProcessorLacksIsSaid(t *testing.T) {
	for want, c := range map[string]Config{
		`the simulator knows no processor "atmega999"`: {MCU: "atmega999"},
		"the atmega328p has no port L":                 {MCU: "atmega328p", Watch: "BL"},
		"the atmega328p has no serial port 1":          {MCU: "atmega328p", UART: 1},
	} {
		_, err := New(c)
		var lacks *Lacks
		require.ErrorAs(t, err, &lacks)
		assert.EqualError(t, err, want)
	}
	m := small(t, "atmega328p", "B", "int main(void) { for (;;) ; }")
	require.ErrorContains(t, m.SetPin(0, Pin{'L', 0}, true), "pin PL0: the processor has none")
	require.ErrorContains(t, m.SetPin(0, Pin{'B', 8}, true), "pin PB8: the processor has none")
	require.ErrorContains(t, m.Trace(t.TempDir()+"/x.vcd", []Traced{{"x", Pin{'L', 0}}}), "pin PL0: the processor has none")
}

// Two machines by turns, each with its own time.
func TestMachinesAreIndependentOfEachOther(t *testing.T) {
	source := fastC + `
int main(void) { serial_start(); for (;;) put(take() + 1); }
`
	one, other := small(t, "atmega2560", "", source), small(t, "atmega328p", "", source)
	var heard [2][]byte
	for i := range uint64(200) {
		for k, m := range []*Machine{one, other} {
			m.Receive(m.Cycle()+50, byte(i))
			heard[k] = append(heard[k], bytesOf(run(t, m, (i+1)*uint64(150+100*k)))...)
		}
	}
	for k, h := range heard {
		require.GreaterOrEqual(t, len(h), 195, "machine %d", k)
		for i, b := range h {
			require.Equal(t, byte(i+1), b)
		}
	}
}

// BenchmarkTwoMachines runs two processors in slices of a millisecond, one of which has its pins turned over as a track does, and
// reports how many times faster than real they both are together.
func BenchmarkTwoMachines(b *testing.B) {
	source := fastC + `
ISR(TIMER4_CAPT_vect) { TCCR4B ^= _BV(ICES4); GPIOR0 = ICR4L; }
int main(void)
{
	serial_start();
	TCCR4B = _BV(CS40) | _BV(ICES4);
	TIMSK4 = _BV(ICIE4);
	sei();
	for (;;)
		put(GPIOR0);
}
`
	one, other := small(b, "atmega2560", "ACG", source), small(b, "atmega2560", "B", source)
	var sent []Sent
	const slice = clock / 1000
	high := false
	for b.Loop() {
		at := one.Cycle()
		for edge := uint64(500); edge < slice; edge += 928 {
			high = !high
			require.NoError(b, one.SetPin(at+edge, Pin{'L', 0}, high))
		}
		for _, m := range []*Machine{one, other} {
			for until := at + slice; m.Cycle() < until; {
				m.Run(until, false)
				sent = m.SentBytes(sent[:0])
			}
		}
	}
	b.ReportMetric(float64(b.N)*0.001/b.Elapsed().Seconds(), "s/s")
}
