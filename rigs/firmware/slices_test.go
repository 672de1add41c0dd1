//go:build simavr

package firmware

import (
	"slices"
	"testing"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/rigs/processor"
	"bufferstop/rigs/processor/imagetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

// busy does all that a firmware does with time: bits by a timer, readings by the converter, characters both ways, and it sleeps
// in between.
const busy = serialC + `
ISR(TIMER1_COMPA_vect) { static uint8_t n; OCR1A = (n++ & 3) ? 927 : 1855; PINB = _BV(3); }
ISR(ADC_vect) { UDR0 = ADCH; ADMUX ^= 1; }
ISR(USART_RX_vect) { UDR0 = UDR0 + 1; }
int main(void)
{
	DDRB = _BV(0) | _BV(1) | _BV(3) | _BV(4);
	PORTB = _BV(0) | _BV(1) | _BV(4);
	serial_start();
	UCSR0B |= _BV(RXCIE0);
	ADMUX = _BV(REFS0) | _BV(ADLAR);
	ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADATE) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
	TCCR1A = _BV(COM1A0);
	TCCR1B = _BV(WGM12) | _BV(CS10);
	OCR1A = 927;
	TIMSK1 = _BV(OCIE1A);
	sei();
	sleep_enable();
	for (;;)
		sleep_cpu();
}
`

// outcome is all that a run shows.
type outcome struct {
	edges   [2][]signal.Edge
	samples [2][]current.Sample
	sent    []byte
	cycle   uint64
}

// runBusy runs for 40 ms, cut where cuts says. At fixed times something comes from outside.
func runBusy(t *testing.T, image *processor.Image, cuts []time.Duration) (o outcome) {
	f := quickLine(board(t))
	f.StartTime = time.Microsecond
	r, err := open(t.Context(), f, image, Options{Seed: 7})
	require.NoError(t, err)
	defer r.Close()
	var heard [2]seen
	for i, name := range []station.Track{station.Main, station.Programming} {
		defer r.Track(name).Listen(&heard[i])()
	}
	outside := map[time.Duration]func(){
		3*time.Millisecond + 17: func() { _, err = r.Link().Write(t.Context(), []byte("0123456789"), 0) },
		11_111_111:              func() { err = r.Track(station.Main).Load(physic.Ampere) },
		12_345_678:              func() { err = r.Track(station.Programming).Load(300 * physic.MilliAmpere) },
		21_000_063:              func() { _, err = r.Link().Write(t.Context(), []byte("abc"), 0) },
		30 * time.Millisecond:   func() { err = r.Track(station.Main).Short(physic.Ohm) },
	}
	stops := []time.Duration{40 * time.Millisecond}
	for at := range outside {
		stops = append(stops, at)
	}
	for at := r.Now(); len(cuts) > 0 && at < stops[0]; cuts = cuts[1:] {
		at += cuts[0]
		stops = append(stops, min(at, stops[0]))
	}
	slices.Sort(stops)
	for _, at := range stops {
		require.NoError(t, r.Wait(t.Context(), at-r.Now()))
		if happens := outside[at]; happens != nil {
			happens()
			require.NoError(t, err)
			delete(outside, at)
		}
	}
	for i := range heard {
		o.edges[i], o.samples[i] = heard[i].edges, heard[i].samples
	}
	b := make([]byte, 1<<12)
	o.sent = b[:r.line.ToHost.Take(r.now, b)]
	o.cycle = r.board.Machine.Cycle()
	require.Empty(t, r.StationFault())
	return o
}

func TestHowTheWaitingIsCutChangesNothing(t *testing.T) {
	image := parsed(t, imagetest.Compile(t, "atmega328p", busy))
	whole := runBusy(t, image, nil)
	assert.Greater(t, len(whole.edges[0]), 300)
	assert.Greater(t, len(whole.edges[1]), 300)
	assert.Greater(t, len(whole.sent), 300)
	cycles := make([]time.Duration, 50_000)
	for i := range cycles {
		cycles[i] = 63 * time.Nanosecond // a cycle has 62.5
	}
	same(t, whole, runBusy(t, image, cycles))
	rapid.Check(t, func(rt *rapid.T) {
		scale := rapid.SampledFrom([]time.Duration{time.Nanosecond, 62, time.Microsecond, 10 * time.Microsecond}).Draw(rt, "scale")
		cuts := rapid.SliceOfN(rapid.Int64Range(1, 7000), 1, 400).Draw(rt, "cuts")
		pieces := make([]time.Duration, len(cuts))
		for i, n := range cuts {
			pieces[i] = min(time.Duration(n)*scale, 7*time.Millisecond)
		}
		same(rt, whole, runBusy(t, image, pieces))
	})
}

func same(t require.TestingT, want, got outcome) {
	for i := range want.edges {
		require.Equal(t, len(want.edges[i]), len(got.edges[i]))
		for k, e := range want.edges[i] {
			require.Equal(t, e, got.edges[i][k], "edge %d of output %d", k, i)
		}
		require.Equal(t, want.samples[i], got.samples[i])
	}
	require.Equal(t, want.sent, got.sent)
	require.Equal(t, want.cycle, got.cycle)
}

func TestTheSameSeedGivesTheSameRun(t *testing.T) {
	image := parsed(t, imagetest.Compile(t, "atmega328p", busy))
	same(t, runBusy(t, image, nil), runBusy(t, image, nil))
}

// A processor that sleeps, with no timer that would wake it, answers as soon as a character has come.
func TestACharacterWakesAProcessorAtOnce(t *testing.T) {
	r := started(t, quickLine(board(t)), parsed(t, imagetest.Compile(t, "atmega328p", serialC+`
ISR(USART_RX_vect) { PINB = UDR0; }
int main(void)
{
	DDRB = _BV(0) | _BV(1);
	PORTB = _BV(0);
	serial_start();
	UCSR0B |= _BV(RXCIE0);
	sei();
	sleep_enable();
	for (;;)
		sleep_cpu();
}
`)))
	main := listen(t, r, station.Main)
	for i := range 50 {
		require.NoError(t, r.Wait(t.Context(), time.Duration(i*i*37)*time.Microsecond+777))
		_, err := r.Link().Write(t.Context(), []byte{2}, time.Second)
		require.NoError(t, err)
		arrives := r.line.ToStation.Arrives()
		require.NoError(t, r.Wait(t.Context(), 100*time.Microsecond))
		last := main.edges[len(main.edges)-1]
		assert.InDelta(t, 1.5, float64(last.Time-arrives)/1e3, 1, "microseconds")
		assert.Len(t, main.edges, i+2)
	}
}
