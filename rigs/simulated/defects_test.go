package simulated

import (
	"context"
	"fmt"
	"hash/fnv"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/station"
	"bufferstop/harness/voltage"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

func TestEveryDefectIsFoundByItsName(t *testing.T) {
	names := map[string]bool{}
	for _, d := range Defects() {
		assert.Regexp(t, regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`), d.Name)
		assert.False(t, names[d.Name], "%s is there twice", d.Name)
		assert.NotEmpty(t, d.Summary, d.Name)
		assert.NotEmpty(t, d.Breaks, d.Name)
		names[d.Name] = true
		for _, id := range d.Breaks {
			assert.Regexp(t, regexp.MustCompile(`^[A-Z]{3,4}-[0-9]{3}$`), id, d.Name)
		}
		found, err := Find(d.Name)
		require.NoError(t, err)
		assert.Equal(t, d.Summary, found.Summary)
		_, err = New(Options{Defect: d.Name})
		require.NoError(t, err)
	}
	_, err := Find("slow-quartz")
	require.ErrorContains(t, err, "slow-crystal")
	_, err = New(Options{Defect: "absent"})
	require.ErrorContains(t, err, "bufferstop defects")
}

func TestADefectChangesNothingButWhatItIsAbout(t *testing.T) {
	for _, d := range Defects() {
		for seed := range int64(3) {
			healthy, err := New(Options{Seed: seed, Habit: d.Habit()})
			require.NoError(t, err)
			flawed, err := New(Options{Seed: seed, Defect: d.Name})
			require.NoError(t, err)
			a, b := reflect.ValueOf(healthy.settings), reflect.ValueOf(flawed.settings)
			changed := 0
			for i := range a.NumField() {
				if !reflect.DeepEqual(field(a, i), field(b, i)) {
					changed++
				}
			}
			assert.Positive(t, changed, d.Name)
			assert.LessOrEqual(t, changed, 4, d.Name)
		}
	}
}

// field is a struct's field as text, exported or not.
func field(v reflect.Value, i int) string { return fmt.Sprint(v.Field(i)) }

// exercise has a station do all that any defect is about, and sums up what was answered and seen.
func exercise(b *bench) uint64 {
	h := fnv.New64a()
	ask := func(message string) { fmt.Fprintln(h, b.ask(message+";:SYST:ERR?")) }
	flush := func() {
		for _, e := range []*ear{b.main, b.programming} {
			e.sum(h)
			e.clear()
		}
	}
	ask("LOCO:SPE 9,9,FORW,128") // for the power-up sequence to hold up
	b.powerUp()
	b.Track(station.Main).(harness.Voltmeter).Traces(4, func(v voltage.Trace) { fmt.Fprintln(h, v) })
	b.wait(2 * time.Second)
	for _, c := range []string{
		"LOCO:SPE 3,7,FORW,28", "LOCO:SPE 3,1,FORW,128", "LOCO:SPE 127,5,FORW,128", "LOCO:SPE 10239,5,REV,28",
		"LOCO:FUNC 3,0,ON", "LOCO:FUNC 3,9,ON", "LOCO:FUNC 3,21,ON", "LOCO:STOP 3", "LOCO:STOP ALL", "POM:WRIT 3,3,4",
		"LOCO:REL 3", "ACC:OUTP 1,ON", "ACC:ASP 1,1",
	} {
		ask(c)
		b.wait(200 * time.Millisecond)
	}
	for range 100 { // the line flooded
		b.say("LOCO:SPE 5,10,FORW,128;:SYST:ERR?")
		b.say("LOCO:SPE 5,10,FORW,128;:SYST:ERR?")
		for range 2 {
			_, err := b.hear(time.Second)
			require.NoError(b.t, err)
		}
	}
	for i := range 6 { // the queue filled, then the input behind it
		for k := range 4 {
			b.say(fmt.Sprintf("LOCO:SPE %d,10,FORW,128;:SYST:ERR?", 20+4*i+k))
		}
		for range 4 {
			answer, _ := b.hear(time.Second)
			fmt.Fprintln(h, answer)
		}
	}
	exerciseDepth(b, ask)
	flush()
	fit := func(change func(*fakedecoder.Config)) *fakedecoder.Decoder {
		c := fakedecoder.Default()
		c.CVs = map[int]byte{64: 64, 66: 255, 67: 1}
		c.Acknowledge.Ripple, c.Acknowledge.Rise = 0, 0
		change(&c)
		require.NoError(b.t, b.Track(station.Programming).Open())
		return b.fit(c)
	}
	acknowledge := func(amplitude physic.ElectricCurrent, width time.Duration) func(*fakedecoder.Config) {
		return func(c *fakedecoder.Config) { c.Acknowledge.Amplitude, c.Acknowledge.Width = amplitude, width }
	}
	ask("CV:READ? 1;WRIT 1,9") // nobody answers, so that every packet is sent
	fit(func(*fakedecoder.Config) {})
	for _, c := range []string{
		"CV:READ? 64", "CV:READ? 66", "CV:READ? 67", "CV:READ? 1", "CV:WRIT 3,200", "CV:READ? 3", "CV:VER? 3,200", "CV:BIT 3,0,1", "CV:READ? 3",
	} {
		ask(c)
	}
	for _, c := range []string{
		"CV:WRIT 1,9,ADDR", "CV:WRIT 1,200,ADDR", "CV:WRIT 1,9,REG", "CV:VER? 1,9,REG", "CV:VER? 7,1,REG", "CV:WRIT 8,1,REG", "CV:WRIT 68,7,PAG",
		"CV:WRIT 1021,7,PAG", "CV:WRIT 1024,7", "CV:WRIT 300,7",
	} {
		ask(c)
	}
	fit(func(c *fakedecoder.Config) { c.Storage, c.WriteOnly = 40*time.Millisecond, []int{67} })
	ask("CV:WRIT 67,9")
	fit(func(c *fakedecoder.Config) { c.Acknowledge.Delay = 12 * time.Millisecond })
	ask("CV:VER? 67,1")
	fit(acknowledge(60*physic.MilliAmpere, 5*time.Millisecond))
	ask("CV:READ? 1;:CV:VER? 1,3,REG")
	fit(acknowledge(60*physic.MilliAmpere, 7*time.Millisecond))
	ask("CV:READ? 1")
	fit(acknowledge(400*physic.MilliAmpere, 6*time.Millisecond))
	ask("CV:READ? 1")
	fit(func(c *fakedecoder.Config) { c.Quiescent = 100 * physic.MilliAmpere })
	ask("CV:READ? 1")
	d := fit(func(*fakedecoder.Config) {})
	for k := range 20 {
		d.Pulse(b.Now()+time.Duration(170+50*k)*time.Millisecond, 6*time.Millisecond, 80*physic.MilliAmpere)
	}
	ask("CV:READ? 1")
	flush()
	require.NoError(b.t, b.Safe())
	ask("TRAC:POW PROG,ON")
	ask("LOCO:SPE 4,10,FORW,28")
	main, programming := b.Track(station.Main), b.Track(station.Programming)
	for _, load := range []int{1000, 1500, 2500} {
		require.NoError(b.t, main.Load(physic.ElectricCurrent(load)*physic.MilliAmpere))
		b.wait(300 * time.Millisecond)
		ask("TRAC:CURR? MAIN")
		require.NoError(b.t, main.Load(0))
		b.wait(6 * time.Second)
		flush()
	}
	require.NoError(b.t, main.Inrush(3*physic.Ampere, 4*time.Millisecond))
	b.wait(2 * time.Second)
	require.NoError(b.t, main.Short(100*physic.MilliOhm))
	b.wait(200 * time.Millisecond)
	require.NoError(b.t, main.Open())
	b.wait(6 * time.Second)
	ask("TRAC:POW MAIN,ON") // for one that is latched
	b.wait(time.Second)
	require.NoError(b.t, programming.Load(300*physic.MilliAmpere))
	b.wait(200 * time.Millisecond)
	ask("TRAC:POW PROG,OFF")
	ask("CV:READ? 1")
	ask("TRAC:POW PROG,ON")
	require.NoError(b.t, programming.Short(100*physic.MilliOhm))
	b.wait(200 * time.Millisecond)
	flush()
	require.NoError(b.t, programming.Open())
	disturb(b, func(what string) { fmt.Fprintln(h, what) })
	flush()
	return h.Sum64()
}

// disturb does to a station's line, power and supply what some defects are about. Whether it still answers is told.
func disturb(b *bench, tell func(string)) {
	raw := func(bytes string) {
		_, err := b.Link().Write(context.Background(), []byte(bytes), 10*time.Second)
		require.NoError(b.t, err)
		b.wait(200 * time.Millisecond)
	}
	begin := func() {
		require.NoError(b.t, b.Restart(context.Background()))
		b.do("LOCO:SPE 3,5,FORW,128")
		b.powerUp()
	}
	for _, garbage := range []string{
		"\xf0\xff\n", strings.Repeat("U", 600) + "\n", "LOCO:SP", "NONSENSE 1\n", "*IDN?\n", "bufferstop,simulated station,0,1.0\n",
		"bufferstop,simulated station,0,1.0\n", "a\x00\n",
	} {
		raw(garbage)
	}
	b.say("*IDN?")
	for range 40 {
		line, err := b.hear(100 * time.Millisecond)
		tell(fmt.Sprint(line, err))
	}
	begin()
	require.NoError(b.t, b.ReopenLink(context.Background(), 100*time.Millisecond))
	b.do("TRAC:POW MAIN,OFF")
	b.do("TRAC:POW MAIN,ON")
	b.wait(200 * time.Millisecond)
	b.do("*RST")
	begin()
}

func TestEveryDefectChangesWhatTheStationDoes(t *testing.T) {
	healthy := exercise(newBench(t, Options{Nominal: true}, true))
	require.Equal(t, healthy, exercise(newBench(t, Options{Nominal: true}, true)))
	seen := map[uint64]string{healthy: "no defect"}
	for _, h := range Habits() {
		sum := exercise(newBench(t, Options{Nominal: true, Habit: h.Name}, true))
		assert.Empty(t, seen[sum], "%s does the same", h.Name)
		seen[sum] = h.Name
	}
	for i, d := range Defects() {
		if testing.Short() && i%8 != 0 {
			continue // -short goes with -race, which makes this ten times slower
		}
		sum := exercise(newBench(t, Options{Nominal: true, Defect: d.Name}, true))
		if d.Name == "latch-let-go" { // without the habit, that is
			assert.Equal(t, "no defect", seen[sum])
			continue
		}
		assert.Empty(t, seen[sum], "%s does the same", d.Name)
		seen[sum] = d.Name
	}
}

func TestTheSerialInterruptShowsOnlyWhileTheLineIsFlooded(t *testing.T) {
	b := newBench(t, Options{Seed: 2, Defect: "serial-interrupt"}, true)
	b.powerUp()
	for range 20 {
		b.do("LOCO:SPE 3,10,FORW,128")
		b.wait(30 * time.Millisecond)
	}
	assert.Zero(t, b.main.receiver.Statistics().OneHalf.Outside)
	for range 100 {
		for range 4 {
			b.say("LOCO:SPE 3,10,FORW,128;:SYST:ERR?")
		}
		for range 4 {
			_, err := b.hear(time.Second)
			require.NoError(t, err)
		}
	}
	s := b.main.receiver.Statistics()
	assert.Positive(t, s.OneHalf.Outside)
	assert.Less(t, s.OneHalf.Max, int64(65*time.Microsecond))
	assert.Empty(t, b.main.faults(), "decoders still read it")
}
