package simulated

import (
	"strconv"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

// tripped waits until a track trips and returns when its current ended, or false.
func (b *bench) tripped(e *ear, within time.Duration) (time.Duration, bool) {
	from := b.Now()
	b.wait(within)
	on := false
	for _, s := range e.samples {
		if s.Time < from {
			continue
		}
		if s.Current > 100*physic.MilliAmpere {
			on = true
		} else if on && s.Current < 20*physic.MilliAmpere {
			return s.Time, true
		}
	}
	return 0, false
}

func TestOverloadIsCutAsDeclared(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, true)
		b.powerUp()
		b.do("TRAC:POW PROG,ON")
		b.do("LOCO:SPE 3,10,FORW,128")
		name := rapid.SampledFrom([]station.Track{station.Main, station.Programming}).Draw(t, "track")
		e, other, word := b.main, b.programming, "MAIN"
		noTrip, trip := 1500*physic.MilliAmpere, 2500*physic.MilliAmpere
		if name == station.Programming {
			e, other, word = b.programming, b.main, "PROG"
			noTrip, trip = 250*physic.MilliAmpere, 300*physic.MilliAmpere
		}
		track := b.Track(name)
		// The declared no-trip current does not trip.
		require.NoError(t, track.Load(noTrip))
		_, is := b.tripped(e, time.Second)
		require.False(t, is)
		require.Equal(t, "ON", b.ask("TRAC:POW? "+word))
		// Nor does a declared inrush.
		require.NoError(t, track.Load(0))
		require.NoError(t, track.Inrush(3*physic.Ampere, 4*time.Millisecond))
		b.wait(200 * time.Millisecond)
		require.Equal(t, "ON", b.ask("TRAC:POW? "+word))
		// The trip current and a dead short do, in 100 ms, and the other track does not notice.
		e.clear()
		other.clear()
		if rapid.Bool().Draw(t, "dead short") {
			require.NoError(t, track.Short(100*physic.MilliOhm))
		} else {
			require.NoError(t, track.Load(trip))
		}
		laid := b.Now()
		off, is := b.tripped(e, 150*time.Millisecond)
		require.True(t, is)
		require.LessOrEqual(t, off-laid, 100*time.Millisecond)
		require.Equal(t, "TRIPPED", b.ask("TRAC:POW? "+word))
		require.Equal(t, signal.Off, e.edges[len(e.edges)-1].Level)
		require.Equal(t, "0", b.ask("TRAC:CURR? "+word))
		// Without the cause power is back after a second, with a whole packet.
		require.NoError(t, track.Open())
		e.clear()
		b.wait(time.Second)
		require.Equal(t, "ON", b.ask("TRAC:POW? "+word))
		for _, u := range e.unusable { // what the trip cut, and the time without power
			require.Contains(t, []signal.Reason{signal.ReasonOff, signal.ReasonCutByOff, signal.ReasonOffInEndBit}, u.Reason)
		}
		require.LessOrEqual(t, len(e.faults()), 1)
		require.NotEmpty(t, e.packets)
		require.InDelta(t, float64(e.packets[0].Start-off), float64(970*time.Millisecond), float64(35*time.Millisecond))
		// And with the speeds of before.
		b.wait(100 * time.Millisecond)
		if name == station.Main {
			speed := packet(dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps128, Direction: dcc.Forward, Step: 10}, nil)
			require.Greater(t, e.count(speed), 2)
			require.Zero(t, e.count(packet(dcc.Reset{}, nil)))
		}
		require.Empty(t, other.faults())
		require.Less(t, other.receiver.Statistics().Interval.Max, int64(30*time.Millisecond))
	})
}

func TestAShortThatStaysTripsAgain(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, true)
	b.powerUp()
	require.NoError(t, b.Track(station.Main).Short(physic.Ohm/2))
	b.wait(5 * time.Second)
	trips, on := 0, false
	for _, s := range b.main.samples {
		now := s.Current > physic.Ampere
		if on && !now {
			trips++
		}
		on = now
	}
	// 32 ms or so until it trips, and 970 ms until it tries again.
	assert.Equal(t, 5, trips)
	assert.Equal(t, "TRIPPED", b.ask("TRAC:POW? MAIN"))
	b.do("TRAC:POW MAIN,OFF")
	b.main.clear()
	b.wait(2 * time.Second)
	assert.Empty(t, b.main.packets)
	assert.Equal(t, "OFF", b.ask("TRAC:POW? MAIN"))
}

func TestACommandThatCannotWaitIsRefusedWhileTripped(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, true)
	b.powerUp()
	require.NoError(t, b.Track(station.Main).Short(physic.Ohm))
	b.wait(100 * time.Millisecond)
	assert.Equal(t, `120,"Track tripped"`, b.ask("ACC:OUTP 1,ON;:SYST:ERR?"))
	b.do("LOCO:SPE 3,1,FORW,28")
	require.NoError(t, b.Track(station.Programming).Short(physic.Ohm))
	assert.Equal(t, `120,"Track tripped"`, b.ask("CV:READ? 1;:SYST:ERR?"))
	assert.Equal(t, "TRIPPED", b.ask("TRAC:POW? PROG"))
	require.NoError(t, b.Track(station.Programming).Open())
	b.fit(fakedecoder.Default())
	assert.Equal(t, "3", b.ask("CV:READ? 1"))
}

func TestTheCurrentIsReportedWithin50Milliamperes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, false)
		b.powerUp()
		load := rapid.IntRange(0, 1500).Draw(t, "mA")
		require.NoError(t, b.Track(station.Main).Load(physic.ElectricCurrent(load)*physic.MilliAmpere))
		b.wait(200 * time.Millisecond)
		got, err := strconv.Atoi(b.ask("TRAC:CURR? MAIN"))
		require.NoError(t, err)
		require.InDelta(t, load, got, 50)
	})
}

func TestAShortedTrackLooksOffToTheProbe(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, true)
	b.powerUp()
	b.wait(time.Millisecond)
	require.NoError(t, b.Track(station.Main).Short(100*physic.MilliOhm))
	laid := b.Now()
	b.wait(5 * time.Millisecond)
	last := b.main.edges[len(b.main.edges)-1]
	assert.Equal(t, signal.Off, last.Level)
	assert.InDelta(t, float64(laid), float64(last.Time), 200)
	assert.InDelta(t, float64(5*physic.Ampere), float64(b.main.samples[len(b.main.samples)-1].Current), float64(10*physic.MilliAmpere))
	// A short of 3 Ω leaves enough voltage to be seen and to run a decoder: 4 A, 12 V.
	require.NoError(t, b.Track(station.Main).Short(3*physic.Ohm))
	b.main.clear()
	b.wait(5 * time.Millisecond)
	assert.Greater(t, len(b.main.edges), 20)
}
