package harness

import (
	"testing"
	"time"

	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// edgesFrom makes n edges 50 µs apart, from the i-th on.
func edgesFrom(i, n int) []signal.Edge {
	edges := make([]signal.Edge, n)
	for k := range edges {
		level := signal.Positive
		if (i+k)%2 == 1 {
			level = signal.Negative
		}
		edges[k] = signal.Edge{Time: time.Duration(i+k) * 50 * time.Microsecond, Level: level}
	}
	return edges
}

func TestATapeGivesBackWhatItWasToldWithTheLevelAtTheStart(t *testing.T) {
	var tape Tape
	tape.Edges(edgesFrom(0, 10))
	got := tape.Between(125*time.Microsecond, 260*time.Microsecond)
	require.Len(t, got, 4)
	assert.Equal(t, signal.Edge{Time: 125 * time.Microsecond, Level: signal.Positive}, got[0])
	assert.Equal(t, edgesFrom(3, 3), got[1:])
}

func TestATapeThatDoesNotReachBackIsEmpty(t *testing.T) {
	var tape Tape
	assert.Empty(t, tape.Between(0, time.Second))
	tape.Edges(edgesFrom(100, 5))
	assert.Empty(t, tape.Between(0, 10*time.Second))
}

func TestAFullTapeKeepsTheLastEdgesHoweverTheyCame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var tape Tape
		told := 0
		for told < tapeLength+tapeLength/3 {
			n := rapid.IntRange(1, tapeLength+1000).Draw(t, "edges at a time")
			tape.Edges(edgesFrom(told, n))
			told += n
		}
		from := time.Duration(told-tapeLength) * 50 * time.Microsecond
		assert.Equal(t, edgesFrom(told-tapeLength, tapeLength), tape.Between(from, time.Hour))
	})
}

func TestATapeDoesNotJoinWhatALossHasParted(t *testing.T) {
	const us = time.Microsecond
	var tape Tape
	tape.Edges(edgesFrom(0, 10)) // to 450 µs
	tape.Lost(470*us, 1000*us)
	tape.Edges(edgesFrom(21, 4)) // from 1050 µs
	before := tape.Between(0, 2000*us)
	assert.Equal(t, edgesFrom(0, 10), before, "the longer piece, and no level across the loss")
	after := tape.Between(300*us, 2000*us)
	assert.Equal(t, edgesFrom(6, 4), after)
	after = tape.Between(400*us, 2000*us)
	assert.Equal(t, edgesFrom(21, 4), after)
	assert.Empty(t, tape.Between(500*us, 1000*us), "of the loss itself nothing is known")
	assert.Equal(t, edgesFrom(21, 4), tape.Between(500*us, 2000*us))
}
