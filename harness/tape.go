package harness

import (
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"
)

// tapeLength is how many edges a tape holds: about nine seconds of a busy track.
const tapeLength = 1 << 17

// A Tape keeps the last edges of a track, so that a failure can show the signal that it is about. The zero value is an
// empty tape.
type Tape struct {
	edges []signal.Edge
	next  int // where the next edge goes once the tape is full
}

// Edges takes what the probe saw.
func (t *Tape) Edges(edges []signal.Edge) {
	if room := tapeLength - len(t.edges); room > 0 {
		n := min(room, len(edges))
		t.edges = append(t.edges, edges[:n]...)
		edges = edges[n:]
	}
	for len(edges) > 0 {
		n := copy(t.edges[t.next:], edges)
		edges = edges[n:]
		t.next = (t.next + n) % tapeLength
	}
}

// Samples does nothing: a tape holds edges.
func (t *Tape) Samples([]current.Sample) {}

// lostMark stands on a tape where a lost stretch begins: the level that no edge has, since none is known until the next edge.
const lostMark signal.Level = 2

// Lost marks that what comes next does not join what is there.
func (t *Tape) Lost(from, _ time.Duration) {
	t.Edges([]signal.Edge{{Time: from, Level: lostMark}})
}

// Between returns a copy of the edges from one time to another, after one edge that tells the level at the start. It is
// empty when the tape does not reach back that far. Where the probe has lost a stretch between the two times, it is the longest piece
// without a loss.
func (t *Tape) Between(from, to time.Duration) []signal.Edge {
	var found, longest []signal.Edge
	for i := range t.edges {
		e := t.edges[(t.next+i)%len(t.edges)]
		lost := e.Level == lostMark
		switch {
		case e.Time <= from:
			found = found[:0]
			if !lost {
				found = append(found, signal.Edge{Time: from, Level: e.Level})
			}
		case e.Time > to:
			return longer(longest, found)
		case lost:
			longest, found = longer(longest, found), nil
		case len(found) > 0 || i > 0 && t.edges[(t.next+i-1)%len(t.edges)].Level == lostMark:
			found = append(found, e)
		}
	}
	return longer(longest, found)
}

func longer(a, b []signal.Edge) []signal.Edge {
	if len(b) > len(a) {
		return b
	}
	return a
}
