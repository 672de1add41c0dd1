package signal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestTheLongestTimeOfOnePolarityIsFoundWhereverItIs(t *testing.T) {
	const ms = time.Millisecond
	for _, c := range []struct {
		name        string
		edges       []Edge
		end         time.Duration
		longest, at time.Duration
	}{
		{"nothing seen", nil, 5 * ms, 0, 0},
		{"off all the time", []Edge{{0, Off}}, 5 * ms, 0, 0},
		{"between two edges", []Edge{{0, Off}, {1 * ms, Positive}, {4 * ms, Negative}, {5 * ms, Positive}}, 6 * ms, 3 * ms, 1 * ms},
		{"up to the end", []Edge{{0, Positive}, {1 * ms, Negative}}, 6 * ms, 5 * ms, 1 * ms},
		{"from the first level on", []Edge{{2 * ms, Positive}, {6 * ms, Negative}}, 7 * ms, 4 * ms, 2 * ms},
		{"up to an off state", []Edge{{0, Positive}, {3 * ms, Off}}, 20 * ms, 3 * ms, 0},
		{"an off state between two ends it", []Edge{{0, Positive}, {3 * ms, Off}, {4 * ms, Positive}, {6 * ms, Negative}}, 7 * ms, 3 * ms, 0},
		{"a drop shorter than a crossing does not", []Edge{{0, Positive}, {3 * ms, Off}, {3*ms + 2*time.Microsecond, Positive}, {6 * ms, Negative}}, 7 * ms, 6 * ms, 0},
		{"a slow crossing ends it", []Edge{{0, Positive}, {3 * ms, Off}, {3*ms + 2*time.Microsecond, Negative}}, 4 * ms, 3 * ms, 0},
		{"the same level told again", []Edge{{0, Positive}, {2 * ms, Positive}, {3 * ms, Negative}}, 4 * ms, 3 * ms, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			var s Steady
			s.Edges(c.edges)
			s.Finish(c.end)
			assert.Equal(t, c.longest, s.Longest)
			assert.Equal(t, c.at, s.At)
		})
	}
}

func TestALostStretchIsNoPolarity(t *testing.T) {
	const ms = time.Millisecond
	var s Steady
	s.Edges([]Edge{{0, Positive}})
	s.Lost(2*ms, 50*ms)
	s.Edges([]Edge{{51 * ms, Negative}})
	s.Finish(54 * ms)
	assert.Equal(t, 3*ms, s.Longest)
	assert.Equal(t, 51*ms, s.At)
}

// However the edges are handed over, and wherever the longest is, it is the one that a look at each pair of edges finds.
func TestTheLongestTimeDoesNotDependOnHowTheEdgesCome(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at, level := time.Duration(0), Positive
		var edges []Edge
		var longest time.Duration
		for range rapid.IntRange(1, 40).Draw(t, "edges") {
			edges = append(edges, Edge{at, level})
			span := time.Duration(rapid.IntRange(int(crossing), int(20*time.Millisecond)).Draw(t, "span"))
			if level != Off {
				longest = max(longest, span)
			}
			at += span
			level = rapid.SampledFrom(map[Level][]Level{
				Positive: {Negative, Off}, Negative: {Positive, Off}, Off: {Positive, Negative},
			}[level]).Draw(t, "level")
		}
		var s Steady
		for rest := edges; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "at once")
			s.Edges(rest[:n])
			rest = rest[n:]
		}
		s.Finish(at)
		assert.Equal(t, longest, s.Longest)
	})
}

func BenchmarkSteady(b *testing.B) {
	edges := make([]Edge, 1024)
	for i := range edges {
		edges[i] = Edge{time.Duration(i) * 58 * time.Microsecond, []Level{Positive, Negative}[i%2]}
	}
	b.ReportAllocs()
	for b.Loop() {
		var s Steady
		s.Edges(edges)
	}
}
