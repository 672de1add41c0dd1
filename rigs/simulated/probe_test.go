package simulated

import (
	"math"
	"testing"
	"time"

	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

func TestTheProbeIsAsUncertainAsItSays(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, true)
	const load = 1234 * physic.MilliAmpere
	require.NoError(t, b.Track(station.Main).Load(load))
	b.powerUp()
	b.wait(20 * time.Second)
	d := b.Describe()
	// Every edge lies on the clock's grid of 62.5 ns, to the whole nanosecond below.
	for _, e := range b.main.edges[2:] {
		require.LessOrEqual(t, math.Mod(62.5-math.Mod(float64(e.Time), 62.5), 62.5), 0.5, "%v", e.Time)
	}
	// What the station does is known here: halves of 58 µs with up to 0.2 µs of jitter. The rest is the probe's.
	s := b.main.receiver.Statistics().OneHalf
	assert.InDelta(t, 58000, s.Mean(), 1)
	widest := float64(d.EdgeUncertainty)*1.5 + 200
	assert.InDelta(t, 58000, float64(s.Min), widest)
	assert.InDelta(t, 58000, float64(s.Max), widest)
	assert.InDelta(t, 60, float64(d.EdgeUncertainty), 5)
	// About 95 % of the samples lie within the expanded uncertainty (k=2), and all within twice that.
	samples, inside := 0, 0
	for _, x := range b.main.samples {
		if x.Time < 10*time.Millisecond {
			continue
		}
		deviation := max(x.Current-load, load-x.Current)
		require.LessOrEqual(t, deviation, 2*d.CurrentUncertainty+physic.MilliAmpere)
		samples++
		if deviation <= d.CurrentUncertainty {
			inside++
		}
	}
	assert.InDelta(t, 20.4*2000, samples, 50)
	assert.Greater(t, float64(inside)/float64(samples), 0.93)
	assert.Equal(t, 500*time.Microsecond, d.SampleInterval)
}
