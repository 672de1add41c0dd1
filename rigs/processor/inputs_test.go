//go:build simavr

package processor

import (
	"bufio"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// capturingC tells the time of each edge at the capture pin of a timer that counts cycles.
func capturingC(timer string) string {
	return fastC + strings.ReplaceAll(`
int main(void)
{
	serial_start();
	TCCR@B = _BV(CS@0) | _BV(ICES@);
	for (;;) {
		while (!(TIFR@ & _BV(ICF@)))
			;
		const uint16_t at = ICR@;
		TCCR@B ^= _BV(ICES@);
		TIFR@ = _BV(ICF@);
		tell(at);
	}
}
`, "@", timer)
}

// edgesAtRandom are cycles of edges, the first one rising.
func edgesAtRandom(n int) (cycles []uint64) {
	random := rand.New(rand.NewPCG(3, 4))
	at := uint64(2000)
	for range n {
		at += 400 + random.Uint64N(30_000)
		cycles = append(cycles, at)
	}
	return cycles
}

var captures = map[string]struct {
	mcu, timer string
	pin        Pin
}{
	"ICP1 of the ATmega328P": {"atmega328p", "1", Pin{'B', 0}},
	"ICP4 of the ATmega2560": {"atmega2560", "4", Pin{'L', 0}},
	"ICP5 of the ATmega2560": {"atmega2560", "5", Pin{'L', 1}},
}

func TestAnInputCaptureTakesTheVeryCycleOfAnEdge(t *testing.T) {
	for name, c := range captures {
		t.Run(name, func(t *testing.T) {
			m := small(t, c.mcu, "", capturingC(c.timer))
			trace := filepath.Join(t.TempDir(), "pins.vcd")
			require.NoError(t, m.Trace(trace, []Traced{{"edge", c.pin}}))
			edges := edgesAtRandom(500)
			for i, at := range edges {
				require.NoError(t, m.SetPin(at, c.pin, i%2 == 0))
			}
			words := wordsOf(run(t, m, edges[len(edges)-1]+5000))
			require.Len(t, words, len(edges))
			for i := range edges[1:] {
				require.Equal(t, uint16(edges[i+1]-edges[i]), words[i+1]-words[i], "from edge %d on", i)
			}
			m.Free() // which ends the trace
			assert.Equal(t, edges, cyclesOf(t, trace))
		})
	}
}

// The same when each edge is told only when the machine has run up to it, and a little further because an instruction took it
// there.
func TestAnEdgeThatIsToldAfterTheInstructionInWhichItFallsHasItsCycleStill(t *testing.T) {
	c := captures["ICP4 of the ATmega2560"]
	m := small(t, c.mcu, "", capturingC(c.timer))
	edges := edgesAtRandom(500)
	var sent []Sent
	late := 0
	for i, at := range edges {
		sent = append(sent, run(t, m, at)...)
		if m.Cycle() > at {
			late++
		}
		require.NoError(t, m.SetPin(at, c.pin, i%2 == 0))
	}
	words := wordsOf(append(sent, run(t, m, edges[len(edges)-1]+5000)...))
	require.Len(t, words, len(edges))
	for i := range edges[1:] {
		require.Equal(t, uint16(edges[i+1]-edges[i]), words[i+1]-words[i], "from edge %d on", i)
	}
	assert.Greater(t, late, 100)
}

// cyclesOf are the changes of the one pin of a trace: simavr 1.6 writes units of 10 ns, of which a cycle at 16 MHz takes 6.25, so
// that every cycle has a number of its own.
func cyclesOf(t *testing.T, name string) (cycles []uint64) {
	file, err := os.Open(name)
	require.NoError(t, err)
	defer file.Close()
	var at uint64
	scanner := bufio.NewScanner(file)
	for scanner.Scan() {
		switch text := scanner.Text(); {
		case strings.HasPrefix(text, "#"):
			at, err = strconv.ParseUint(text[1:], 10, 64)
			require.NoError(t, err)
		case text != "" && (text[0] == '0' || text[0] == '1'):
			cycles = append(cycles, (at*10*16+500)/1000)
		}
	}
	require.NoError(t, scanner.Err())
	return cycles
}

// A capture between the reads of the two bytes of the one before does not tear it.
func TestACaptureBetweenTheReadsOfTwoBytesTearsNothing(t *testing.T) {
	m := small(t, "atmega2560", "", fastC+`
int main(void)
{
	serial_start();
	TCCR4B = _BV(CS40) | _BV(ICES4);
	for (;;) {
		while (!(TIFR4 & _BV(ICF4)))
			;
		const uint8_t low = ICR4L;
		_delay_us(20);
		const uint8_t high = ICR4H; /* of the first capture, though there was another */
		put(low);
		put(high);
		tell(ICR4); /* the second */
		TIFR4 = _BV(ICF4);
	}
}
`)
	at := uint64(1000)
	for range 100 {
		at += 4321
		for _, edge := range []uint64{0, 300} {
			require.NoError(t, m.SetPin(at+edge, Pin{'L', 0}, true))
			require.NoError(t, m.SetPin(at+edge+100, Pin{'L', 0}, false))
		}
	}
	words := wordsOf(run(t, m, at+5000))
	require.Len(t, words, 200)
	for i := 0; i < len(words); i += 2 {
		require.Equal(t, uint16(300), words[i+1]-words[i], "capture %d", i)
	}
}

// Pins of every bank that the probe uses, and the external interrupt of the small processor.
func TestAChangeOfAPinInterrupts(t *testing.T) {
	for name, c := range map[string]struct {
		mcu, setup, vector string
		pin                Pin
		cycles             uint64 // from the flag to the routine's first output: data sheets, "Interrupt Response Time"
	}{
		"PCINT16 of the ATmega2560": {"atmega2560", "PCMSK2 = 1; PCICR = _BV(PCIE2);", "PCINT2_vect", Pin{'K', 0}, 5},
		"PCINT17 of the ATmega2560": {"atmega2560", "PCMSK2 = 3; PCICR = _BV(PCIE2);", "PCINT2_vect", Pin{'K', 1}, 5},
		"PCINT4 of the ATmega2560":  {"atmega2560", "PCMSK0 = _BV(4); PCICR = _BV(PCIE0);", "PCINT0_vect", Pin{'B', 4}, 5},
		"PCINT18 of the ATmega328P": {"atmega328p", "PCMSK2 = _BV(2); PCICR = _BV(PCIE2);", "PCINT2_vect", Pin{'D', 2}, 4},
		"INT4 of the ATmega2560":    {"atmega2560", "EICRB = _BV(ISC40); EIMSK = _BV(INT4);", "INT4_vect", Pin{'E', 4}, 5},
		"INT5 of the ATmega2560":    {"atmega2560", "EICRB = _BV(ISC50); EIMSK = _BV(INT5);", "INT5_vect", Pin{'E', 5}, 5},
		"INT0 of the ATmega328P":    {"atmega328p", "EICRA = _BV(ISC00); EIMSK = _BV(INT0);", "INT0_vect", Pin{'D', 2}, 4},
	} {
		t.Run(name, func(t *testing.T) {
			m := small(t, c.mcu, "C", fastC+`
ISR(`+c.vector+`, ISR_NAKED) { __asm__ volatile("sbi %0, 0\n\treti" : : "I"(_SFR_IO_ADDR(PINC))); }
int main(void) { DDRC = 1; `+c.setup+` sei(); for (;;) __asm__ volatile("nop"); }
`)
			const at = 5000
			for i := range uint64(20) {
				require.NoError(t, m.SetPin(at+i*1000, c.pin, i%2 == 0))
			}
			run(t, m, at+20_000)
			changes := m.Changes(nil)
			require.Len(t, changes, 20)
			for i, change := range changes {
				late := change.Cycle - (at + uint64(i)*1000)
				assert.GreaterOrEqual(t, late, c.cycles+2) // and the jump of the vector, 3 cycles or 2
				assert.LessOrEqual(t, late, c.cycles+3+4)  // and what was under way, with one instruction more
			}
		})
	}
}

// A pull-up moves no pin that is held from outside, whatever is written to its port.
func TestAPinIsWhatHoldsIt(t *testing.T) {
	m := small(t, "atmega2560", "", fastC+`
int main(void)
{
	serial_start();
	PORTK = 0xFF;
	PCMSK2 = 1;
	for (;;) {
		const uint8_t port = take();
		PORTK = port;
		put(PINK);
		put(PCIFR);
		PCIFR = _BV(PCIF2);
	}
}
`)
	hold := func(high bool) { require.NoError(t, m.SetPin(m.Cycle(), Pin{'K', 0}, high)) }
	tells := func(port byte) []byte {
		m.Receive(m.Cycle()+1000, port)
		return bytesOf(run(t, m, m.Cycle()+2000))
	}
	hold(false)
	run(t, m, 2000)
	tells(0xFF) // what was raised while the pull-up came
	assert.Equal(t, []byte{0xFE, 0}, tells(0xFF), "held low")
	hold(true)
	assert.Equal(t, []byte{0xFF, 4}, tells(0xFF), "a change")
	assert.Equal(t, []byte{0xFF, 0}, tells(0xFF), "the flag was cleared, and the pin is as it was")
	hold(false)
	assert.Equal(t, []byte{0xFE, 4}, tells(0xFF))
}
