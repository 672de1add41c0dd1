package simulated

import (
	"fmt"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

func TestEveryValueIsReadBack(t *testing.T) {
	b := newBench(t, Options{Seed: 11}, false)
	for value := range 256 {
		c := fakedecoder.Default()
		c.CVs = map[int]byte{66: byte(value)}
		require.NoError(t, b.Track("programming").Open())
		b.fit(c)
		require.Equal(t, fmt.Sprint(value), b.ask("CV:READ? 66"))
	}
}

func TestCVsAreReadAndWrittenWithEverySeed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, false)
		c := fakedecoder.Default()
		// The legal corners: S-9.2.3 D and E (July 2012).
		c.Quiescent = physic.ElectricCurrent(rapid.IntRange(0, 100).Draw(t, "quiescent mA")) * physic.MilliAmpere
		c.Acknowledge.Amplitude = physic.ElectricCurrent(rapid.SampledFrom([]int{60, 61, 80, 200, 500}).Draw(t, "amplitude mA")) * physic.MilliAmpere
		c.Acknowledge.Width = time.Duration(rapid.IntRange(5000, 7000).Draw(t, "width µs")) * time.Microsecond
		c.Acknowledge.Rise = 0
		d := b.fit(c)
		cv := rapid.SampledFrom([]int{2, 3, 4, 66, 95, 512, 1024}).Draw(t, "CV")
		value := rapid.Byte().Draw(t, "value")
		b.do(fmt.Sprintf("CV:WRIT %d,%d", cv, value))
		require.Equal(t, value, d.CV(cv))
		require.Equal(t, fmt.Sprintf("%d;1;0", value), b.ask(fmt.Sprintf("CV:READ? %d;VER? %d,%d;VER? %d,%d", cv, cv, value, cv, value+1)))
		bit := rapid.IntRange(0, 7).Draw(t, "bit")
		b.do(fmt.Sprintf("CV:BIT %d,%d,%d", cv, bit, ^value>>bit&1))
		require.Equal(t, value^1<<bit, d.CV(cv))
	})
}

func TestPersonalitiesAreReadAsTheyShould(t *testing.T) {
	unreadable := map[string]bool{
		"no-bit-mode": true, // reading byte by byte takes too long for the declared time
		"deaf":        true,
		"weak-pulse":  true, // below what S-9.2.3 D (July 2012) asks for
	}
	for _, name := range fakedecoder.Personalities() {
		c, err := fakedecoder.Personality(name)
		require.NoError(t, err)
		for seed := range int64(8) {
			b := newBench(t, Options{Seed: seed}, false)
			d := b.fit(c)
			got := b.ask("CV:READ? 1;:SYST:ERR?")
			if unreadable[name] {
				if name != "weak-pulse" { // some stations have luck with it
					assert.Equal(t, `110,"No acknowledge"`, got, "%s, seed %d", name, seed)
				}
				continue
			}
			assert.Equal(t, `3;0,"No error"`, got, "%s, seed %d", name, seed)
			if name != "locked" {
				b.do("CV:WRIT 3,77")
				assert.EqualValues(t, 77, d.CV(3), name)
			}
		}
	}
}

func TestNoDecoderIsReportedInTime(t *testing.T) {
	for seed := range int64(30) {
		b := newBench(t, Options{Seed: seed}, false)
		start := b.Now()
		require.Equal(t, `110,"No acknowledge"`, b.ask("CV:READ? 8;:SYST:ERR?"))
		require.Less(t, b.Now()-start, 2*time.Second, "seed %d", seed)
		require.Equal(t, "OFF", b.ask("TRAC:POW? PROG"))
	}
}

// run is how often a packet came in a row.
type run struct {
	packet dcc.Packet
	times  int
}

func runs(packets []signal.Packet) []run {
	var list []run
	for _, p := range packets {
		if n := len(list); n > 0 && list[n-1].packet.Equal(p.Bytes) {
			list[n-1].times++
		} else {
			list = append(list, run{p.Bytes, 1})
		}
	}
	return list
}

func TestDirectModeSequencesHaveTheirPackets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, true)
		b.powerUp()
		b.main.clear()
		// Nobody answers, so nothing ends early. S-9.2.3 E (July 2012).
		require.Equal(t, `110,"No acknowledge"`, b.ask("CV:WRIT 5,9;:SYST:ERR?"))
		list := runs(b.programming.packets)
		reset := packet(dcc.Reset{}, nil)
		require.GreaterOrEqual(t, len(list), 4)
		assert.Equal(t, reset, list[0].packet)
		assert.GreaterOrEqual(t, list[0].times, 20+3, "power-on cycle and resets")
		assert.Equal(t, packet(dcc.DirectWrite{CV: 5, Value: 9}, nil), list[1].packet)
		if list[1].times < 5+6 {
			assert.GreaterOrEqual(t, list[1].times, 5, "writes")
			assert.Equal(t, reset, list[2].packet)
			assert.GreaterOrEqual(t, list[2].times, 6, "recovery")
		}
		// And then the station asks whether the value is there all the same.
		assert.Equal(t, packet(dcc.DirectVerify{CV: 5, Value: 9}, nil), list[3].packet)
		assert.GreaterOrEqual(t, list[3].times, 5, "verifies")
		for _, p := range b.programming.packets {
			assert.GreaterOrEqual(t, p.Preamble, 20)
		}
		// The main track goes on meanwhile and hears nothing of it.
		assert.Len(t, b.main.meanings(), 0)
		assert.Less(t, b.main.receiver.Statistics().Interval.Max, int64(30*time.Millisecond))
	})
}

func TestCVsAreReachedByEveryMethodWithEverySeed(t *testing.T) {
	reach := map[string][]int{"DIR": {1, 66, 1024}, "ADDR": {1}, "REG": {1, 2, 3, 4, 29}, "PAG": {1, 4, 5, 66, 256, 257, 1020, 1021, 1024}}
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, true)
		d := b.fit(fakedecoder.Default())
		method := rapid.SampledFrom([]string{"DIR", "ADDR", "REG", "PAG"}).Draw(t, "method")
		cv := rapid.SampledFrom(reach[method]).Draw(t, "CV")
		value := rapid.SampledFrom([]byte{1, 2, 4, 7}).Draw(t, "value")
		b.do(fmt.Sprintf("CV:WRIT %d,%d,%s", cv, value, method))
		require.Equal(t, value, d.CV(cv))
		require.Equal(t, fmt.Sprintf("%d;1;0", value),
			b.ask(fmt.Sprintf("CV:READ? %[1]d,%[3]s;VER? %[1]d,%[2]d,%[3]s;VER? %[1]d,%[4]d,%[3]s", cv, value, method, value+1)))
		assert.Empty(t, b.programming.faults())
		for _, p := range b.programming.packets {
			assert.GreaterOrEqual(t, p.Preamble, 20)
		}
	})
}

func TestAPagedOperationKeepsItsPowerAndLeavesPageOne(t *testing.T) {
	preset := packet(dcc.PagePreset{}, nil)
	for seed := range int64(20) {
		b := newBench(t, Options{Seed: seed}, true)
		require.Equal(t, `110,"No acknowledge"`, b.ask("CV:WRIT 66,9,PAG;:SYST:ERR?"))
		list := runs(b.programming.packets)
		require.Len(t, list, 9)
		page := packet(dcc.Register{Write: true, Register: dcc.PageRegister, Value: 17}, nil)
		assert.Equal(t, page, list[1].packet)
		assert.GreaterOrEqual(t, list[1].times, 5)
		assert.GreaterOrEqual(t, list[2].times, 6+3)
		assert.Equal(t, packet(dcc.Register{Write: true, Register: 2, Value: 9}, nil), list[3].packet)
		assert.Equal(t, preset, list[7].packet)
		offs := 0
		for _, e := range b.programming.edges {
			if e.Level == signal.Off {
				offs++
			}
		}
		assert.Equal(t, 2, offs, "before and after")
	}
}

func TestTheProgrammingTrackIsPoweredOnlyWhenItHasToBe(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, true)
	b.fit(fakedecoder.Default())
	b.wait(time.Second)
	assert.Len(t, b.programming.edges, 1)
	b.ask("CV:READ? 1")
	assert.Equal(t, signal.Off, b.programming.edges[len(b.programming.edges)-1].Level)
	b.do("TRAC:POW PROG,ON")
	b.programming.clear()
	b.wait(100 * time.Millisecond)
	assert.Greater(t, b.programming.count(packet(dcc.Idle{}, nil)), 10)
	assert.Equal(t, "3", b.ask("CV:READ? 1"))
	assert.Equal(t, "ON", b.ask("TRAC:POW? PROG"))
	b.do("TRAC:POW PROG,OFF")
	assert.Equal(t, signal.Off, b.programming.edges[len(b.programming.edges)-1].Level)
}

func TestPulsesBeforeTheWindowAreNotTakenForAnAcknowledge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, false)
		d := b.fit(fakedecoder.Default())
		b.say("CV:READ? 1")
		// Between power on and the end of the last reset packet of the first sequence.
		at := b.Now() + time.Duration(rapid.IntRange(20, 160).Draw(t, "ms"))*time.Millisecond
		d.Pulse(at, 6*time.Millisecond, 100*physic.MilliAmpere)
		line, err := b.hear(5 * time.Second)
		require.NoError(t, err)
		require.Equal(t, "3", line)
	})
}

// feed gives a detector a baseline and then a window with readings, and reports what it makes of them.
func feed(d *detector, baseline int, window func(t time.Duration) int) bool {
	d.restart()
	for range 3 {
		for range 40 {
			d.reading(baseline)
		}
		d.block()
	}
	d.openWindow()
	for t := time.Duration(0); t < 60*time.Millisecond; t += d.period {
		d.reading(window(t))
	}
	return d.acknowledged()
}

func TestTheDetectorJudgesHeightAndWidth(t *testing.T) {
	s := nominal()
	d := newDetector(&s)
	pulse := func(from, width time.Duration, height int) func(time.Duration) int {
		return func(t time.Duration) int {
			if t >= from && t < from+width {
				return 40 + height
			}
			return 40
		}
	}
	assert.True(t, feed(&d, 40, pulse(10*time.Millisecond, 5*time.Millisecond, counts(0.06))))
	assert.False(t, feed(&d, 40, pulse(10*time.Millisecond, 2*time.Millisecond, counts(0.06))), "too short")
	assert.False(t, feed(&d, 40, pulse(10*time.Millisecond, 5*time.Millisecond, counts(0.02))), "too low")
	assert.False(t, feed(&d, 40, pulse(-time.Millisecond, 7*time.Millisecond, counts(0.06))), "began before the window")
	assert.True(t, feed(&d, 40, func(t time.Duration) int { // chopped by a motor driver
		if t > 10*time.Millisecond && t < 16*time.Millisecond && t/d.period%3 != 0 {
			return 60
		}
		return 40
	}))
	// One disturbed block does not lift the baseline.
	d.restart()
	for i := range 3 {
		for range 40 {
			d.reading(40 + 100*(i%2))
		}
		d.block()
	}
	assert.Equal(t, 40*16, d.baseline)
}
