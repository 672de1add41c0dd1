package judgement

import (
	"time"

	"bufferstop/harness/signal"
	"bufferstop/suites/audit"
)

// A wire hands the edges of a recording on to an audit. A wire of two levels has no level for a track that is off, and stands at one of
// them then: where it does so for longer than any signal, and in the cutouts of a station that has these, the wire makes an off state of
// it. When the voltage comes back such a wire does not tell: it may do so at the level at which it stood, and only the next half-bit shows.
type wire struct {
	audit *audit.Audit
	// cutouts says that the station claims them.
	cutouts bool
	// off says that a level of the file was off: it shows by itself when the track is.
	off    bool
	taken  int64 // how many levels were taken for cutouts
	stands int64 // how many were taken for a track that is off
	last   signal.Edge
	begun  bool
	held   [1]signal.Edge // which is still to be handed on, where cutouts are looked for
	holds  bool
}

// What a level after an end bit has to be to be one: it begins in the first half-bit, at most 64 µs after it with all that a decoder
// accepts (S-9.1 A, 2006), stands for longer than the ones of a preamble by far, and ends within the millisecond within which an audit
// takes an off state for a cutout. Our own choice, around the times of RCN-217 2.4, from memory.
const (
	standsAfter = 64 * time.Microsecond
	standsFor   = 200 * time.Microsecond
	standsUntil = time.Millisecond
)

// noSignal is longer than a level may stand in a track that is on, by far: half a zero takes 9.9 ms at most (S-9.1 A, 2020), and a packet
// has to come every 30 ms (S-9.2 C, July 2004). Whether it was off or had DC on it then, a wire of two levels cannot tell.
const noSignal = 30 * time.Millisecond

// edges takes the next edges.
func (w *wire) edges(edges []signal.Edge) {
	done := 0 // so many were handed on
	for i, e := range edges {
		if w.off {
			break
		}
		if w.off = e.Level == signal.Off; w.off {
			break
		}
		if w.begun && e.Time-w.last.Time > noSignal {
			w.pass(edges[done:i])
			done = i
			w.end()
			w.stood(w.last.Time+standsAfter/2, true)
			w.stands++
		}
		w.last, w.begun = e, true
	}
	if w.off {
		w.end()
		w.audit.Edges(edges[done:])
		return
	}
	w.pass(edges[done:])
}

// pass hands on edges of a track that is on; of a station that claims cutouts, with these.
func (w *wire) pass(edges []signal.Edge) {
	if !w.cutouts {
		w.audit.Edges(edges)
		return
	}
	for _, e := range edges {
		if w.holds && e.Time-w.held[0].Time >= standsFor {
			w.cutout(e.Time)
		}
		w.end()
		w.held[0], w.holds = e, true
	}
}

// cutout takes a level that begins with the edge that is held, and has stood until a time.
func (w *wire) cutout(until time.Duration) {
	began := w.held[0].Time
	if end, ok := w.audit.LastEnd(); ok && began-end <= standsAfter && until-end <= standsUntil {
		w.taken++
		w.holds = false
		w.stood(began, false) // the level changed as the voltage went
		return
	}
	w.end()
	if end, ok := w.audit.LastEnd(); ok && end == began && until-end <= standsUntil {
		// The voltage went in this half-bit, and the level is the same: nobody knows when, and nothing is made of the time.
		w.taken++
		w.stood(began+standsAfter/2, true)
	}
}

// stood makes an off state of a level from a time on, of which somebody may have seen that it is when it began.
func (w *wire) stood(from time.Duration, unseen bool) {
	w.audit.Unseen(unseen, true)
	w.held[0] = signal.Edge{Time: from, Level: signal.Off}
	w.audit.Edges(w.held[:])
}

// end hands on what is held.
func (w *wire) end() {
	if w.holds {
		w.audit.Edges(w.held[:])
		w.holds = false
	}
}
