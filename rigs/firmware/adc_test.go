//go:build simavr

package firmware

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/rigs/processor/imagetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// converting measures with the converter clock at 125 kHz (8 µs), turns PB3 over right before each start, and sends the
// readings as two bytes, the high one first. The loop is its main loop.
func measuring(loop string) string {
	return serialC + `
static void start(void) { PINB = _BV(3); ADCSRA |= _BV(ADSC); }
static uint16_t reading(void) { while (ADCSRA & _BV(ADSC)); return ADC; }
static void tell(uint16_t n) { put(n >> 8); put(n); }
int main(void)
{
	DDRB = _BV(0) | _BV(1) | _BV(3) | _BV(4);
	PORTB = _BV(0) | _BV(1) | _BV(4);
	serial_start();
	ADMUX = _BV(REFS0);
	ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
	` + loop + `
	(void)start, (void)reading, (void)tell;
}
`
}

// readings are the numbers that the firmware sends.
func readings(t *testing.T, sent []byte) (all []int) {
	for ; len(sent) >= 2; sent = sent[2:] {
		all = append(all, int(sent[0])<<8|int(sent[1]))
	}
	require.NotEmpty(t, all)
	return all
}

// counts are what the converter makes of a current: 1 V for 1 A, of 5 V in 1023 steps (simavr reckons with 1023, the data
// sheet with 1024).
func counts(amperes float64) int { return int(amperes*1000) * 1023 / 5000 }

const converterClock = 8 * time.Microsecond

// instants steps the load of the main track at random and compares each reading with the load at the instant at which the
// converter samples: some clocks after what mark is the time of. The firmware loops for ever.
func instants(t *testing.T, loop string, clocks float64) {
	f := quickLine(board(t))
	f.StartTime = time.Microsecond // from the first instruction on
	r := started(t, f, parsed(t, imagetest.Compile(t, "atmega328p", measuring(loop))))
	marks := listen(t, r, station.Programming)
	random := rand.New(rand.NewPCG(1, 2))
	type step struct {
		at      time.Duration
		amperes float64
	}
	steps := []step{{}}
	var sent []byte
	for r.Now() < 200*time.Millisecond {
		amperes := float64(random.IntN(30)) / 10
		require.NoError(t, r.Track(station.Main).Load(physic.ElectricCurrent(amperes*float64(physic.Ampere))))
		steps = append(steps, step{r.Now(), amperes})
		sent = append(sent, sentBy(t, r, time.Duration(random.IntN(90_000))+time.Nanosecond)...)
	}
	load := func(at time.Duration) (now float64, close bool) {
		const margin = 2 * time.Microsecond // for the instructions between the mark and the start
		for _, s := range steps {
			if s.at <= at {
				now = s.amperes
			}
			close = close || s.at > at-margin && s.at < at+margin
		}
		return now, close
	}
	var starts []signal.Edge
	for i, e := range marks.edges {
		if i > 1 && e.Level != signal.Off { // the first two are the level at the beginning, and the power that comes
			starts = append(starts, e)
		}
	}
	compared, changed := 0, 0
	all := readings(t, sent)
	for i, got := range all {
		at := starts[i].Time + time.Duration(clocks*float64(converterClock))
		want, close := load(at)
		if close || at < 2*time.Millisecond {
			continue
		}
		compared++
		if begun, _ := load(at - 30*time.Microsecond); begun != want {
			changed++
		}
		require.Equal(t, counts(want), got, "reading %d, sampled at %v", i, at)
	}
	assert.Greater(t, compared, 200)
	assert.Greater(t, changed, 20, "the load has changed between the start and the sample")
}

// 1.5 clocks after the start: data sheet of the ATmega328P, "ADC Conversion Time".
func TestAConversionSeesTheCurrentOfTheInstantAtWhichItSamples(t *testing.T) {
	instants(t, `for (;;) { start(); tell(reading()); }`, 1.5)
}

func TestTheFirstConversionAfterTheConverterWasEnabledSamplesLater(t *testing.T) {
	instants(t, `for (;;) { ADCSRA &= ~_BV(ADEN); ADCSRA |= _BV(ADEN); start(); tell(reading()); }`, 13.5)
}

// The processor sleeps until the converter wakes it, and nothing else happens meanwhile.
func TestAConversionThatTheProcessorSleepsThroughSeesItsInstant(t *testing.T) {
	instants(t, `ADCSRA |= _BV(ADIE); sei(); sleep_enable(); for (;;) { start(); sleep_cpu(); tell(reading()); } }
ISR(ADC_vect) { (void)start, (void)reading, (void)tell;`, 1.5)
}

// The mark is the end of the conversion before, at which the next one starts.
func TestAFreeRunningConverterSamplesAtItsOwnPace(t *testing.T) {
	instants(t, `ADCSRA |= _BV(ADATE) | _BV(ADSC); PINB = _BV(3);
	for (;;) { while (!(ADCSRA & _BV(ADIF))); PINB = _BV(3); ADCSRA |= _BV(ADIF); tell(ADC); }`, 1.5)
}

// The reading is that of the channel that was chosen at the start.
func TestAChannelThatIsChangedWhileAConversionRunsCountsForTheNextOne(t *testing.T) {
	r := started(t, quickLine(board(t)), parsed(t, imagetest.Compile(t, "atmega328p", measuring(`
	for (uint8_t other = 1;; other ^= 1) { start(); ADMUX = _BV(REFS0) | other; tell(reading()); }`))))
	require.NoError(t, r.Track(station.Main).Load(physic.Ampere))
	require.NoError(t, r.Track(station.Programming).Load(2*physic.Ampere))
	require.NoError(t, r.Wait(t.Context(), 5*time.Millisecond))
	_ = sentBy(t, r, 0)
	all := readings(t, aligned(t, r, counts(1), counts(2)))
	require.Greater(t, len(all), 50)
	for i, got := range all {
		want := counts(1)
		if (all[0] == counts(1)) == (i%2 == 1) {
			want = counts(2)
		}
		require.Equal(t, want, got, "reading %d", i)
	}
}

// aligned are the bytes of whole readings: the first byte may be the second half of one.
func aligned(t *testing.T, r *Rig, values ...int) []byte {
	sent := sentBy(t, r, 20*time.Millisecond)
	for _, v := range values {
		if len(sent) > 1 && int(sent[0])<<8|int(sent[1]) == v {
			return sent
		}
	}
	return sent[1:]
}

func TestEveryChannelOfTheConverterSeesItsOutput(t *testing.T) {
	for name, c := range map[string]struct {
		mcu, sense, mux string
	}{
		"the first of the ATmega328P":         {"atmega328p", "ADC0", "ADMUX = _BV(REFS0);"},
		"the last pin of the ATmega328P":      {"atmega328p", "ADC7", "ADMUX = _BV(REFS0) | 7;"},
		"the ninth of the ATmega2560":         {"atmega2560", "ADC8", "ADMUX = _BV(REFS0); ADCSRB = _BV(MUX5);"},
		"the last of the ATmega2560":          {"atmega2560", "ADC15", "ADMUX = _BV(REFS0) | 7; ADCSRB = _BV(MUX5);"},
		"the first of the ATmega32, at 0x26":  {"atmega32", "ADC0", "ADMUX = _BV(REFS0);"},
		"the third of the ATmega1284P":        {"atmega1284p", "ADC3", "ADMUX = _BV(REFS0) | 3;"},
		"one of the ATmega328P, left aligned": {"atmega328p", "ADC2", "ADMUX = _BV(REFS0) | _BV(ADLAR) | 2;"},
	} {
		t.Run(name, func(t *testing.T) {
			file := strings.NewReplacer(`"atmega328p"`, `"`+c.mcu+`"`, `"ADC0"`, `"`+c.sense+`"`, `"ADC1"`, `"ADC5"`).Replace(boardFile)
			f, err := Parse("board.rig.toml", []byte(file))
			require.NoError(t, err)
			loop := c.mux + ` for (;;) { ADCSRA |= _BV(ADSC); tell(reading()); }`
			source := measuring(loop)
			if c.mcu == "atmega32" {
				source = strings.NewReplacer("UCSR0A", "UCSRA", "UBRR0", "UBRRL", "UCSR0B", "UCSRB", "U2X0", "U2X", "RXEN0", "RXEN", "TXEN0", "TXEN",
					"UDRE0", "UDRE", "RXC0", "RXC", "UDR0", "UDR", "PINB = _BV(3)", "PORTB ^= _BV(3)").Replace(source)
			}
			r := started(t, quickLine(f), parsed(t, imagetest.Compile(t, c.mcu, source)))
			require.NoError(t, r.Track(station.Main).Load(1500*physic.MilliAmpere))
			want := counts(1.5)
			if strings.Contains(name, "left") {
				want <<= 6
			}
			require.NoError(t, r.Wait(t.Context(), 5*time.Millisecond))
			_ = sentBy(t, r, 0)
			for i, got := range readings(t, aligned(t, r, want)) {
				require.Equal(t, want, got, "reading %d", i)
			}
		})
	}
}

// A converter that was switched off in the middle keeps its last result.
func TestAConversionThatIsBrokenOffChangesNothing(t *testing.T) {
	r := started(t, quickLine(board(t)), parsed(t, imagetest.Compile(t, "atmega328p", measuring(`
	start();
	const uint16_t first = reading();
	take();
	ADCSRA |= _BV(ADSC);
	_delay_us(20);
	ADCSRA &= ~_BV(ADEN);
	_delay_us(300);
	tell(first);
	tell(ADC);
	for (;;) ;`))))
	require.NoError(t, r.Track(station.Main).Load(physic.Ampere))
	_, err := r.Link().Write(t.Context(), []byte("."), time.Second)
	require.NoError(t, err)
	assert.Equal(t, []int{0, 0}, readings(t, sentBy(t, r, 10*time.Millisecond)))
}

// What is over the reference is the reference, and what is not wired is nothing.
func TestTheConverterEndsAtItsReference(t *testing.T) {
	f := quickLine(board(t))
	f.Outputs[0].Gain, f.SupplyMillivolts = 10, 3300
	r := started(t, f, parsed(t, imagetest.Compile(t, "atmega328p", measuring(`
	for (uint8_t other = 3;; other ^= 3) { start(); tell(reading()); ADMUX = _BV(REFS0) | other; }`))))
	require.NoError(t, r.Track(station.Main).Load(physic.Ampere))
	require.NoError(t, r.Wait(t.Context(), 5*time.Millisecond))
	_ = sentBy(t, r, 0)
	all := readings(t, aligned(t, r, 1023, 0))
	require.Greater(t, len(all), 10)
	assert.ElementsMatch(t, []int{1023, 0}, all[:2])
	assert.Empty(t, r.board.Machine.Log(), "and the simulator has nothing to complain of")
}
