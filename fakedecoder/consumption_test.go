package fakedecoder_test

import (
	"math"
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

const (
	mA = physic.MilliAmpere
	µs = time.Microsecond
	ms = time.Millisecond
)

// pulseOf has a decoder acknowledge a verify, and returns the end of the second packet and the demand from there on, the
// quiescent current taken off, at every change and at its ends.
func pulseOf(t tester, c fakedecoder.Config) (end time.Duration, points map[time.Duration]physic.ElectricCurrent) {
	c.Inrush = fakedecoder.Inrush{}
	r := lay(t, c)
	r.program(3, reset)
	r.program(2, verify(1, 3))
	end = r.t
	points = map[time.Duration]physic.ElectricCurrent{}
	r.watch = func(at time.Duration, i physic.ElectricCurrent) { points[at-end] = i - c.Quiescent }
	r.hold(30 * ms)
	return end, points
}

func TestAcknowledgePulseHasTheConfiguredCorners(t *testing.T) {
	_, points := pulseOf(t, ordinary(func(c *fakedecoder.Config) {
		c.Acknowledge = fakedecoder.Acknowledge{Amplitude: 60 * mA, Width: 5 * ms, Delay: 700 * µs}
	}))
	assert.Equal(t, map[time.Duration]physic.ElectricCurrent{0: 0, 700 * µs: 60 * mA, 5700 * µs: 0}, points)
}

func TestAcknowledgePulseRisesInAStraightLineAndRipples(t *testing.T) {
	c := ordinary(func(c *fakedecoder.Config) {
		c.Acknowledge = fakedecoder.Acknowledge{Amplitude: 80 * mA, Width: 6 * ms, Rise: ms, Ripple: 20 * mA,
			RippleFrequency: 500 * physic.Hertz}
	})
	_, points := pulseOf(t, c)
	assert.Equal(t, map[time.Duration]physic.ElectricCurrent{
		0:         0,
		ms:        80 * mA, // the ramp ends
		1500 * µs: 90 * mA,
		2500 * µs: 70 * mA,
		3500 * µs: 90 * mA,
		4500 * µs: 70 * mA,
		5500 * µs: 90 * mA,
		6 * ms:    0,
	}, points)

	r := lay(t, c)
	r.program(3, reset)
	r.program(2, verify(1, 3))
	assert.Equal(t, 20*mA+c.Quiescent, r.Current(r.t+250*µs))
	assert.Equal(t, 85*mA+c.Quiescent, r.Current(r.t+1250*µs))
}

func TestTheAcknowledgeOfAWriteFollowsStorage(t *testing.T) {
	c := ordinary(func(c *fakedecoder.Config) {
		c.Inrush = fakedecoder.Inrush{}
		c.Acknowledge = fakedecoder.Acknowledge{Amplitude: 60 * mA, Width: 6 * ms, Delay: ms}
		c.Storage = 5 * ms
	})
	r := lay(t, c)
	r.program(3, reset)
	r.program(2, write(3, 9))
	start, ok := r.NextChange(r.t)
	assert.True(t, ok)
	assert.Equal(t, 6*ms, start-r.t)
	assert.Equal(t, c.Quiescent, r.Current(start-1))
	assert.Equal(t, c.Quiescent+60*mA, r.Current(start))
	end, ok := r.NextChange(start)
	assert.True(t, ok)
	assert.Equal(t, 6*ms, end-start)
	assert.Equal(t, c.Quiescent, r.Current(end))
	_, ok = r.NextChange(end)
	assert.False(t, ok)
}

func TestAcknowledgesRepeatAndDropOut(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.Acknowledge.Repeat = 1 }))
	r.program(3, reset)
	r.program(8, verify(1, 3))
	assert.EqualValues(t, 2, r.Counters().Acknowledges)

	r = lay(t, ordinary(func(c *fakedecoder.Config) { c.Acknowledge.Dropout = 3 }))
	var got []bool
	for range 6 {
		got = append(got, r.ask(5, verify(1, 3)))
	}
	assert.Equal(t, []bool{true, true, false, true, true, false}, got)
	assert.EqualValues(t, 2, r.Counters().Dropped)
}

func TestAChoppedPulseIsTheSameForTheSameSeed(t *testing.T) {
	c, err := fakedecoder.Personality("chopped-pulse")
	require.NoError(t, err)
	c.Acknowledge.Rise = 0
	_, a := pulseOf(t, c)
	_, b := pulseOf(t, c)
	assert.Equal(t, a, b)
	c.Acknowledge.Chop.Seed++
	_, other := pulseOf(t, c)
	assert.NotEqual(t, a, other)
	assert.Greater(t, len(a), 20, "6 ms of 0.4 ms each make some 30 parts")
	for _, i := range a {
		assert.Contains(t, []physic.ElectricCurrent{0, 120 * mA}, i)
	}
}

func TestMotorAndOutputsDraw(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) {
		c.Quiescent, c.Motor, c.Output, c.Inrush = 10*mA, 280*mA, 5*mA, fakedecoder.Inrush{}
	}))
	at := func() physic.ElectricCurrent { return r.Current(r.t) }
	assert.Equal(t, 10*mA, at())
	r.send(1, dcc.Seal(3, 0x6f)) // step 27 of 28
	assert.Equal(t, 280*mA, at())
	r.send(1, dcc.Seal(3, 0x3f, 0xff)) // step 126
	assert.Equal(t, 290*mA, at())
	r.send(1, dcc.Seal(3, 0x91)) // F0, F1
	assert.Equal(t, 300*mA, at())
	r.send(1, dcc.Seal(0, 0x50))
	assert.Equal(t, 20*mA, at())
	r.edge(signal.Off)
	assert.Zero(t, at())
}

func TestInrushFallsExponentially(t *testing.T) {
	c := ordinary(func(c *fakedecoder.Config) {
		c.Quiescent = 0
		c.Inrush = fakedecoder.Inrush{Peak: 4 * physic.Ampere, Tau: 3 * ms}
	})
	d, err := fakedecoder.New(c)
	require.NoError(t, err)
	_, ok := d.NextChange(0)
	assert.False(t, ok, "no voltage yet")
	d.Edge(signal.Edge{Time: ms, Level: signal.Negative})
	last, bends := ms, 0
	assert.Equal(t, 4*physic.Ampere, d.Current(ms))
	for {
		next, ok := d.NextChange(last)
		if !ok {
			break
		}
		bends++
		// What a straight line from bend to bend makes of the middle, against the exponential itself.
		middle := (last + next) / 2
		line := func(at time.Duration) float64 {
			if at >= next && next-last < 3*ms/16 {
				return 0 // the last piece ends with the end of the inrush
			}
			return 4 * math.Exp(-float64(at-ms)/float64(3*ms))
		}
		got := float64(d.Current(middle)) / float64(physic.Ampere)
		assert.InDelta(t, line(middle), got, 1e-6)
		assert.InDelta(t, got, (line(last)+line(next))/2, 4*0.0006)
		last = next
	}
	assert.Zero(t, d.Current(last))
	assert.InDelta(t, float64(3*ms)*math.Log(4e4), float64(last-ms), 2, "until 0.1 mA")
	assert.Greater(t, bends, 100)
}

func TestAShortInterruptionStartsASmallerInrush(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) {
		c.Quiescent, c.Hold = 0, 20*ms
		c.Inrush = fakedecoder.Inrush{Peak: physic.Ampere, Tau: ms}
	}))
	r.hold(100 * ms)
	assert.Zero(t, r.Current(r.t))
	r.cut(5 * ms)
	assert.Equal(t, 250*mA, r.Current(r.t))
	r.hold(693147 * time.Nanosecond) // ln 2: half of it
	assert.InDelta(t, float64(125*mA), float64(r.Current(r.t)), 1e6)
	r.cut(5 * ms) // half of the charge was still missing
	assert.InDelta(t, float64(375*mA), float64(r.Current(r.t)), 1e6)
	r.cut(time.Second)
	assert.Equal(t, physic.Ampere, r.Current(r.t))
}

// Common practice, no source: a decoder keeps its state as long as its capacitor.
func TestStateIsLostWithPowerAfterTheHoldTime(t *testing.T) {
	for off, kept := range map[time.Duration]bool{460 * µs: true, 20 * ms: true, 20*ms + 1: false, time.Second: false} {
		r := lay(t, fakedecoder.Default())
		r.send(1, dcc.Seal(3, 0x3f, 0x80|11))
		r.send(1, dcc.Seal(3, 0x90))
		r.cut(off)
		assert.Equal(t, kept, r.Speed() == 10, "off for %v", off)
		assert.Equal(t, kept, r.Function(0), "off for %v", off)

		r.program(3, reset)
		r.program(1, verify(1, 3))
		r.cut(off)
		assert.Equal(t, kept, r.ServiceMode(), "off for %v", off)
	}
}

func TestNoisePulsesAreSeenAndCountNothing(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.Inrush = fakedecoder.Inrush{} }))
	q := fakedecoder.Default().Quiescent
	r.Pulse(10*ms, 2*ms, 70*mA)
	r.Pulse(11*ms, 2*ms, 30*mA)
	r.Pulse(11*ms, 0, 30*mA)
	var times []time.Duration
	var currents []physic.ElectricCurrent
	r.watch = func(at time.Duration, i physic.ElectricCurrent) {
		times, currents = append(times, at), append(currents, i-q)
	}
	r.hold(20 * ms)
	assert.Equal(t, []time.Duration{0, 10 * ms, 11 * ms, 12 * ms, 13 * ms}, times)
	assert.Equal(t, []physic.ElectricCurrent{0, 70 * mA, 100 * mA, 30 * mA, 0}, currents)
	assert.Zero(t, r.Counters().Acknowledges)
}

// S-9.2.3 D and E (July 2012): what the names of the corner personalities promise.
func TestCornerPersonalitiesAreAtTheCorners(t *testing.T) {
	for name, want := range map[string]struct {
		amplitude, quiescent physic.ElectricCurrent
		width                time.Duration
	}{
		"minimal-legal-pulse": {60 * mA, 15 * mA, 5 * ms},
		"pulse-60mA-5ms":      {60 * mA, 15 * mA, 5 * ms},
		"pulse-60mA-7ms":      {60 * mA, 15 * mA, 7 * ms},
		"pulse-500mA":         {500 * mA, 15 * mA, 6 * ms},
		"quiescent-100mA":     {60 * mA, 100 * mA, 6 * ms},
	} {
		c, err := fakedecoder.Personality(name)
		require.NoError(t, err)
		assert.Equal(t, want.quiescent, c.Quiescent, name)
		_, points := pulseOf(t, c)
		assert.Equal(t, map[time.Duration]physic.ElectricCurrent{0: 0, 500 * µs: want.amplitude, 500*µs + want.width: 0},
			points, name)
	}
}

func TestPersonalitiesKeepTheirPromises(t *testing.T) {
	for _, name := range fakedecoder.Personalities() {
		c, err := fakedecoder.Personality(name)
		require.NoError(t, err)
		assert.Equal(t, name, c.Name)
		r := lay(t, c)
		assert.Equal(t, name != "deaf", r.ask(5, verify(1, 3)), "%s: verify", name)
		// The station's recovery time: five writes and six more packets.
		silent := name == "deaf" || name == "no-write-acknowledge" || name == "locked"
		assert.Equal(t, !silent, r.ask(5, write(3, 9)), "%s: write", name)
		assert.Equal(t, name != "deaf" && name != "locked", r.CV(3) == 9, "%s: stores", name)
		assert.Equal(t, name != "deaf" && name != "no-bit-mode", r.ask(5, verifyBit(8, 7, 0)), "%s: bit", name)
		assert.Equal(t, name != "deaf", r.Counters().Heard > 0, name)
	}
	_, err := fakedecoder.Personality("no such")
	assert.ErrorContains(t, err, "minimal-legal-pulse")
}

func TestConfigsThatCannotBeAreRefused(t *testing.T) {
	for field, alter := range map[string]func(*fakedecoder.Config){
		"Preamble":                    func(c *fakedecoder.Config) { c.Preamble = 9 },
		"ReadOnly":                    func(c *fakedecoder.Config) { c.ReadOnly = []int{0} },
		"WriteOnly":                   func(c *fakedecoder.Config) { c.WriteOnly = []int{1025} },
		"CVs":                         func(c *fakedecoder.Config) { c.CVs = map[int]byte{1025: 0} },
		"Lock":                        func(c *fakedecoder.Config) { c.Lock = 2 },
		"Acknowledge.Amplitude":       func(c *fakedecoder.Config) { c.Acknowledge.Amplitude = -1 },
		"Acknowledge.Width":           func(c *fakedecoder.Config) { c.Acknowledge.Width, c.Acknowledge.Rise = 0, 0 },
		"Acknowledge.Rise":            func(c *fakedecoder.Config) { c.Acknowledge.Rise = 7 * ms },
		"Acknowledge.Ripple":          func(c *fakedecoder.Config) { c.Acknowledge.Ripple = 201 * mA },
		"Acknowledge.RippleFrequency": func(c *fakedecoder.Config) { c.Acknowledge.RippleFrequency = 0 },
		"Acknowledge.Chop":            func(c *fakedecoder.Config) { c.Acknowledge.Chop.On = ms },
		"Acknowledge.Chop.Jitter": func(c *fakedecoder.Config) {
			c.Acknowledge.Chop = fakedecoder.Chop{On: ms, Off: ms, Jitter: ms}
		},
		"Acknowledge.Repeat":  func(c *fakedecoder.Config) { c.Acknowledge.Repeat = -1 },
		"Acknowledge.Dropout": func(c *fakedecoder.Config) { c.Acknowledge.Dropout = -1 },
		"Inrush.Tau":          func(c *fakedecoder.Config) { c.Inrush.Tau = 0 },
		"Storage":             func(c *fakedecoder.Config) { c.Storage = -1 },
	} {
		_, err := fakedecoder.New(ordinary(alter))
		var e *fakedecoder.ConfigError
		require.ErrorAs(t, err, &e, field)
		assert.Equal(t, field, e.Field)
	}
	_, err := fakedecoder.New(ordinary(func(c *fakedecoder.Config) { c.Address = dcc.Long(10240) }))
	assert.ErrorContains(t, err, "10240")
	_, err = fakedecoder.New(ordinary(func(c *fakedecoder.Config) { c.Preamble = 13 }))
	assert.EqualError(t, err, "fake decoder: Preamble is 13, want 10..12, or 0 for 10")
	_, err = fakedecoder.New(fakedecoder.Config{})
	assert.NoError(t, err)
}

// checkDemand asks for the demand at t and all changes up to until.
func checkDemand(t tester, d *fakedecoder.Decoder, at, until time.Duration) {
	for range 2000 {
		require.GreaterOrEqual(t, d.Current(at), physic.ElectricCurrent(0))
		next, ok := d.NextChange(at)
		if !ok {
			return
		}
		require.Greater(t, next, at)
		if next > until {
			return
		}
		at = next
	}
}

func TestDemandIsNeverNegativeAndChangesLieAhead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, err := fakedecoder.Personality(rapid.SampledFrom(fakedecoder.Personalities()).Draw(t, "personality"))
		require.NoError(t, err)
		d, err := fakedecoder.New(c)
		require.NoError(t, err)
		at := time.Duration(0)
		for range rapid.IntRange(1, 200).Draw(t, "edges") {
			length := time.Duration(rapid.IntRange(0, int(30*ms)).Draw(t, "length"))
			if rapid.Bool().Draw(t, "noise") {
				d.Pulse(at, length, 50*mA)
			}
			checkDemand(t, d, at, at+length)
			at += length
			d.Edge(signal.Edge{Time: at, Level: signal.Level(rapid.IntRange(-1, 1).Draw(t, "level"))})
		}
	})
}
