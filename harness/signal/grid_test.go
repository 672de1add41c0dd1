package signal

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// sampled are the edges of jittery half-bits as an analyser sees them that looks every period ns.
func sampled(t *rapid.T, period float64, n int) []Edge {
	var edges []Edge
	at, level := rapid.Float64Range(0, 1e6).Draw(t, "start"), Positive
	random := rapid.Float64Range(-900, 900)
	for range n {
		at += 58000 + random.Draw(t, "jitter")
		edges = append(edges, Edge{time.Duration(math.Round(math.Ceil(at/period) * period)), level})
		level = -level
	}
	return edges
}

func TestTheGridIsThatOfTheAnalyser(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		megahertz := rapid.SampledFrom([]float64{0.5, 1, 2, 4, 8, 10, 12, 16, 20, 24, 25, 48}).Draw(t, "rate")
		var g Grid
		for edges := sampled(t, 1000/megahertz, 400); len(edges) > 0; {
			n := min(len(edges), 1+int(rapid.IntRange(0, 30).Draw(t, "chunk")))
			g.Edges(edges[:n])
			edges = edges[n:]
		}
		assert.InDelta(t, 1000/megahertz, float64(g.Step()), 2.5, "%v MHz", megahertz)
	})
}

func TestTimesWithoutAGridAreKnownToTheNanosecond(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var g Grid
		g.Edges(sampled(t, 0.001, 400))
		assert.LessOrEqual(t, g.Step(), 3*time.Nanosecond)
	})
}

func TestAGridNeedsTwoEdges(t *testing.T) {
	var g Grid
	assert.Zero(t, g.Step())
	g.Edges([]Edge{{5, Positive}})
	assert.Zero(t, g.Step())
	g.Edges([]Edge{{1005, Negative}})
	assert.Equal(t, time.Microsecond, g.Step())
	g.Edges([]Edge{{505, Negative}}) // backwards: a divisor is one of both ways
	assert.Equal(t, 500*time.Nanosecond, g.Step())
}

// steady are the edges of a station without jitter, seen by an analyser that looks every period ns and writes whole nanoseconds.
func steady(period, one, zero float64) []Edge {
	var edges []Edge
	at, level := 0.0, Positive
	for i := range 2000 {
		half := one
		if i/2%7 == 6 {
			half = zero
		}
		at += half
		edges = append(edges, Edge{time.Duration(math.Ceil(at/period) * period), level})
		level = -level
	}
	return edges
}

// A good station has so little jitter that its halves have one or two lengths: too few for a comb.
func TestTheGridIsFoundWithoutJitter(t *testing.T) {
	for _, c := range []struct{ megahertz, one, zero float64 }{
		{24, 57990, 99983}, {24, 61005, 100000}, {12, 57995.3, 99990.1}, {48, 58001, 100002}, {6, 57999, 115998}, {3, 58002, 100004},
	} {
		var g Grid
		g.Edges(steady(1000/c.megahertz, c.one, c.zero))
		step := float64(g.Step()) // of a few lengths a lower rate may make the same, which is on the safe side
		assert.GreaterOrEqual(t, step, 1000/c.megahertz, "%+v", c)
		assert.Less(t, step, 1.25*1000/c.megahertz, "%+v", c)
	}
}

// Edges that all lie on multiples of 58 µs were not looked at every 58 µs.
func TestTheBitsOfAStationAreNotTheGridOfAnAnalyser(t *testing.T) {
	for _, one := range []float64{58000, 57999, 62000} {
		var g Grid
		g.Edges(steady(1, one, 2*one))
		assert.LessOrEqual(t, g.Step(), 2*time.Microsecond, "%v", one)
	}
}
