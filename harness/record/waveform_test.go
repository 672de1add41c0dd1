package record

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// reversals are n+1 edges, one every 10 µs.
func reversals(n int) []Edge {
	edges := []Edge{{At: 1000, Level: 1}}
	for range n {
		last := edges[len(edges)-1]
		edges = append(edges, Edge{At: last.At + 10*time.Microsecond, Level: -last.Level})
	}
	return edges
}

// S-9.2 A: preamble, then for each byte a start bit of zero and eight bits, the most significant first, then an end bit of one.
func TestThePartsOfAPacketAreMarked(t *testing.T) {
	packet := []byte{0xff, 0x00, 0xff}
	w, err := PacketWaveform("idle", "main", reversals(2*(14+27+1)), 14, packet)
	require.NoError(t, err)
	var kinds []PartKind
	bits := ""
	next := time.Duration(1000)
	for _, part := range w.Parts {
		if part.Kind == Bit {
			bits += part.Text
			continue
		}
		assert.Equal(t, next, part.From, "no gap before %s", part.Kind)
		next = part.To
		kinds = append(kinds, part.Kind)
	}
	assert.Equal(t, w.End, next, "the parts cover the packet")
	assert.Equal(t, []PartKind{Preamble, StartBit, DataByte, StartBit, DataByte, StartBit, ErrorByte, EndBit}, kinds)
	assert.Equal(t, "111111110000000011111111", bits)
	assert.Equal(t, "14 ones", w.Parts[0].Text)
	assert.Len(t, w.Edges, 84)
}

func TestAWaveformNeedsAllItsReversals(t *testing.T) {
	packet := []byte{0xff, 0x00, 0xff}
	_, err := PacketWaveform("idle", "main", reversals(83), 14, packet)
	assert.ErrorContains(t, err, "got 84 edges, want 85")
	_, err = PacketWaveform("idle", "main", nil, 0, nil)
	assert.Error(t, err)
	edges := reversals(84)
	edges[9].Level = 0
	_, err = PacketWaveform("idle", "main", edges, 14, packet)
	assert.ErrorContains(t, err, "edge 9")
	edges = reversals(84)
	edges[9].At = edges[8].At
	_, err = PacketWaveform("idle", "main", edges, 14, packet)
	assert.ErrorContains(t, err, "edge 9")
}
