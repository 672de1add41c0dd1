package fakedecoder_test

import (
	"testing"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// traffic is the edges of a main track with some trains on it: idle, others' speed and functions, and the decoder's own.
func traffic() []signal.Edge {
	var edges []signal.Edge
	at, level := oneHalf, signal.Positive
	for _, p := range []dcc.Packet{idle, dcc.Seal(5, 0x3f, 0x90), dcc.Seal(0xc3, 0xe8, 0x3f, 0x90), dcc.Seal(3, 0x3f, 0x90),
		idle, dcc.Seal(5, 0x90), dcc.Seal(3, 0xb0), dcc.Seal(3, 0x90)} {
		for _, b := range p.AppendBits(nil, 14) {
			half := zeroHalf
			if b == 1 {
				half = oneHalf
			}
			for range 2 {
				edges = append(edges, signal.Edge{Time: at, Level: level})
				at += half
				level = -level
			}
		}
	}
	return append(edges, signal.Edge{Time: at, Level: level})
}

func BenchmarkDecoderEdge(b *testing.B) {
	d, err := fakedecoder.New(fakedecoder.Default())
	require.NoError(b, err)
	edges := traffic()
	span := edges[len(edges)-1].Time - edges[0].Time
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		for i := range edges {
			d.Edge(edges[i])
			edges[i].Time += span
		}
		n += len(edges)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/edge")
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "edges/s")
}

func BenchmarkDecoderCurrent(b *testing.B) {
	d, err := fakedecoder.New(fakedecoder.Default())
	require.NoError(b, err)
	d.Edge(signal.Edge{Level: signal.Positive})
	t := 100 * ms
	b.ReportAllocs()
	for b.Loop() {
		t += µs
		d.Current(t)
		d.NextChange(t)
	}
}

func TestEdgesDoNotAllocate(t *testing.T) {
	d, err := fakedecoder.New(fakedecoder.Default())
	require.NoError(t, err)
	edges := traffic()
	span := edges[len(edges)-1].Time - edges[0].Time
	assert.Zero(t, testing.AllocsPerRun(20, func() {
		for i := range edges {
			d.Edge(edges[i])
			edges[i].Time += span
		}
	}))
	assert.Greater(t, d.Counters().Addressed, int64(50))
}
