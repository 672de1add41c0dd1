package voltage

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

const volt = physic.Volt

// draw samples a voltage over the time from the crossing, both in volts and microseconds, for 48 µs.
func draw(interval time.Duration, v func(us float64) float64) Trace {
	t := Trace{Start: time.Second, Interval: interval}
	for at := -24 * time.Microsecond; at <= 24*time.Microsecond; at += interval {
		t.Volts = append(t.Volts, physic.ElectricPotential(v(float64(at)/1000)*float64(volt)))
	}
	return t
}

// ramp crosses from -top to +top with a slew.
func ramp(top, slew float64) func(float64) float64 {
	return func(us float64) float64 { return max(min(us*slew, top), -top) }
}

func TestARampHasItsSlewAndItsAmplitude(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		top := rapid.Float64Range(8, 22).Draw(t, "top")
		slew := rapid.Float64Range(1.25, 60).Draw(t, "slew")
		interval := time.Duration(rapid.IntRange(10, 50).Draw(t, "interval"))
		down := rapid.Bool().Draw(t, "down")
		v := ramp(top, slew)
		c, ok := Measure(draw(interval, func(us float64) float64 {
			if down {
				return -v(us)
			}
			return v(us)
		}))
		require.True(t, ok)
		sign := 1.0
		if down {
			sign = -1
		}
		assert.InDelta(t, sign*top, float64(c.After)/float64(volt), 1e-6)
		assert.InDelta(t, -sign*top, float64(c.Before)/float64(volt), 1e-6)
		assert.InDelta(t, top, float64(c.Highest)/float64(volt), 1e-6)
		assert.True(t, c.Crossed)
		assert.Zero(t, c.Distortion)
		assert.InDelta(t, float64(time.Second+24*time.Microsecond), float64(c.At), float64(2*interval))
		// A straight line between two samples is right but where the ramp begins or ends between them; then it is off by less than
		// one interval at each end.
		assert.InDelta(t, 8e3/slew, float64(c.Took), 2*float64(interval)+1)
		if slew < 8 && top > 8 {
			assert.InEpsilon(t, slew, c.Slew(), 0.01)
		}
	})
}

func TestWhatIsFasterThanTheSamplesIsAsFastAsCanBeTold(t *testing.T) {
	c, ok := Measure(draw(25, func(us float64) float64 { return math.Copysign(15, us+0.001) }))
	require.True(t, ok)
	assert.EqualValues(t, 50, c.Took)
	assert.InDelta(t, 160, c.Slew(), 1e-9)
}

func TestAVoltageThatDoesNotReachTheBandHasNotCrossed(t *testing.T) {
	for what, v := range map[string]func(float64) float64{
		"low":      ramp(3.5, 10),
		"slow":     ramp(15, 0.15),
		"one side": func(us float64) float64 { return max(ramp(15, 10)(us), -3) },
	} {
		c, ok := Measure(draw(25, v))
		require.True(t, ok, what)
		assert.False(t, c.Crossed, what)
		assert.InDelta(t, 8.0/48, c.Slew(), 0.001, what)
	}
}

func TestAVoltageThatRunsBackIsDistortedThere(t *testing.T) {
	// Up at 5 V/µs, back by a volt at the given voltage for a microsecond, and on.
	kinked := func(at float64) func(float64) float64 {
		return func(us float64) float64 {
			v := ramp(15, 5)
			switch begin := at / 5; {
			case us < begin:
				return v(us)
			case us < begin+1:
				return at - (us - begin)
			}
			return v(us - 1.2) // as it was when it turned, a little later
		}
	}
	for _, at := range []float64{-3, 1, 2.5, 3.5} {
		c, ok := Measure(draw(25, kinked(at)))
		require.True(t, ok)
		assert.InDelta(t, max(math.Abs(at), math.Abs(at-1)), float64(c.Distortion)/float64(volt), 0.1, "at %v V", at)
		assert.InDelta(t, 8e3/5+1200, float64(c.Took), 60, "what it loses is not taken off")
	}
}

func TestNoiseIsNoDistortion(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 50 {
		v := ramp(15, 2.4)
		c, ok := Measure(draw(25, func(us float64) float64 { return v(us) + 0.02*random.NormFloat64() }))
		require.True(t, ok)
		assert.Zero(t, c.Distortion)
		assert.InEpsilon(t, 2.4, c.Slew(), 0.03)
		assert.InDelta(t, 15, float64(c.Highest)/float64(volt), 0.07)
	}
}

func TestWhatIsNoChangeOfPolarityIsRefused(t *testing.T) {
	for what, trace := range map[string]Trace{
		"nothing":    {},
		"few":        {Interval: 25, Volts: make([]physic.ElectricPotential, 31)},
		"no time":    {Volts: make([]physic.ElectricPotential, 100)},
		"flat":       draw(25, func(float64) float64 { return 15 }),
		"off":        draw(25, func(us float64) float64 { return max(0, ramp(15, 10)(us)) }),
		"no voltage": draw(25, func(float64) float64 { return 0 }),
	} {
		_, ok := Measure(trace)
		assert.False(t, ok, what)
	}
}
