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
