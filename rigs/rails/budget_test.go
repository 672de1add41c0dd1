package rails

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"

	"bufferstop/harness/uncertainty"
)

// Two stamps, each with a rectangular distribution as wide as the clock's period, noise, and a rounding to whole nanoseconds
// (JCGM 100:2008 4.3.7, 5.1.2), to the nanosecond: records of old runs have it so.
func TestTheUncertaintyBetweenEdgesIsThatOfTwoStamps(t *testing.T) {
	assert.Equal(t, 59*time.Nanosecond, Probe{}.WithDefaults().EdgeUncertainty())
	rapid.Check(t, func(t *rapid.T) {
		p := Probe{
			Clock: physic.Frequency(rapid.Int64Range(100, 1_000_000).Draw(t, "kilohertz")) * physic.KiloHertz,
			Noise: time.Duration(rapid.Int64Range(0, 10_000).Draw(t, "noise")),
		}.WithDefaults()
		require.NoError(t, p.Check())
		step, noise := 1e9/(float64(p.Clock)/float64(physic.Hertz)), float64(p.Noise)
		exact := 2 * math.Sqrt(2*(step*step/12+noise*noise+1.0/12))
		assert.InDelta(t, math.Ceil(exact), float64(p.EdgeUncertainty()), 0)
		b, ok := uncertainty.Of(p.Budgets(), uncertainty.EdgeTime, "main")
		require.True(t, ok)
		assert.InEpsilon(t, exact, b.Expanded(1e9), 1e-12, "the clock is the rig's own, so nothing grows with the time")
	})
}

func TestTheUncertaintyOfASampleIsThatOfStepAndNoise(t *testing.T) {
	p := Probe{}.WithDefaults()
	step, noise := float64(p.CurrentStep), float64(p.CurrentNoise)
	assert.InDelta(t, 2*math.Sqrt(step*step/12+noise*noise), float64(p.CurrentUncertainty()), 1)
}
