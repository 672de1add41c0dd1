package uncertainty_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"bufferstop/harness/uncertainty"
	"bufferstop/harness/voltage"
)

// scope is an oscilloscope: samples at any phase, with noise, in steps.
type scope struct {
	uncertainty.Volts
	random *rand.Rand
}

// trace records a ramp between two voltages of 15 V, in volts a microsecond.
func (s scope) trace(slew float64) voltage.Trace {
	interval := time.Duration(s.Interval)
	t := voltage.Trace{Interval: interval}
	phase := s.random.Float64() * s.Interval
	for at := -24e3 + phase; at < 24e3; at += s.Interval {
		v := max(min(at/1e3*slew, 15), -15)*1e3 + s.random.NormFloat64()*s.Noise
		t.Volts = append(t.Volts, physic.ElectricPotential(math.Round(v/s.Step)*s.Step)*physic.MilliVolt)
	}
	return t
}

// JCGM 101:2008: draws from a model of the apparatus have to scatter as the budget says.
func TestTheBudgetsOfVoltageAndSlewAreThoseOfAnOscilloscope(t *testing.T) {
	volts := uncertainty.Volts{Step: 20, Noise: 20, Interval: 25}
	s := scope{volts, rand.New(rand.NewPCG(1, 1))}
	slews, single := uncertainty.Slews(volts), uncertainty.Voltages(volts)
	for _, slew := range []float64{2.4, 5, 20, 60} {
		var off, samples float64
		const draws = 3000
		for range draws {
			trace := s.trace(slew)
			c, ok := voltage.Measure(trace)
			require.True(t, ok)
			off += (c.Slew() - slew) * (c.Slew() - slew)
			first := float64(trace.Volts[0])/float64(physic.MilliVolt) + 15_000
			samples += first * first
			assert.LessOrEqual(t, math.Abs(float64(c.After)/float64(physic.MilliVolt)-15_000), single.Expanded(15_000))
		}
		seen, said := math.Sqrt(off/draws), slews.Combined(slew)
		assert.LessOrEqual(t, seen, said, "%v V/µs", slew)
		assert.InEpsilon(t, single.Combined(15_000), math.Sqrt(samples/draws), 0.05)
	}
}

// The time that is divided by is as uncertain as two samples make it: at a slew twice as fast, the same time is half as long.
func TestASlewIsTheMoreUncertainTheFasterItIs(t *testing.T) {
	b := uncertainty.Slews(uncertainty.Volts{Interval: 25})
	assert.InEpsilon(t, 2.4*2.4/8*math.Sqrt(2)*0.025/math.Sqrt(3), b.Combined(2.4), 1e-9)
	assert.InEpsilon(t, 4*b.Combined(2.4), b.Combined(4.8), 1e-9)
	assert.InEpsilon(t, b.Combined(4.8), b.At(4.8).Combined(0), 1e-9)
	require.NoError(t, b.Check())
	b.Components[0].Squared = -1
	assert.ErrorContains(t, b.Check(), "want a number of 0 or more")
	// A gain that is off shows in a slew as it does in a voltage; a zero that is off does not.
	more := []uncertainty.Component{uncertainty.HalfWidth("gain", 0.03, "").Proportional(), uncertainty.HalfWidth("zero", 100, "")}
	b = uncertainty.Slews(uncertainty.Volts{More: more})
	assert.InEpsilon(t, 0.03/math.Sqrt(3)*2.4, b.Combined(2.4), 1e-9)
}

func TestOffStatesAreLessCertainThanEdgesWhereTheProbeIsSlow(t *testing.T) {
	edges := uncertainty.Edges{Period: 62.5}
	for _, b := range uncertainty.OffTimes(uncertainty.OffStates{Edges: edges, Goes: 1500, Returns: 16_000}) {
		bound := map[string]float64{uncertainty.OffBegins: 1500, uncertainty.OffEnds: 16_000}[b.Quantity]
		require.NotZero(t, bound, b.Quantity)
		assert.InEpsilon(t, math.Hypot(uncertainty.EdgeTimes(edges).Combined(b.Typical), bound/math.Sqrt(3)), b.Combined(b.Typical), 1e-9)
	}
}
