package judgement

import (
	"time"

	"bufferstop/harness/signal"
	"bufferstop/suites/audit"
)

// A wire hands the edges of a recording on to an audit. A wire of two levels has no level for a track that is off, so it stands at one of
// them in the cutouts of a station that has these: where it does so after an end bit, the wire makes an off state of it. When the voltage
// comes back such a wire does not tell: it may do so at the level at which it stood, and only the next half-bit shows.
type wire struct {
	audit *audit.Audit
	// cutouts says that the station claims them, and that no level of the file has been off so far.
	cutouts bool
	taken   int64 // how many levels were taken for cutouts
	held    [1]signal.Edge
	holds   bool
}

// What a level after an end bit has to be to be one: it begins in the first half-bit, at most 64 µs after it with all that a decoder
// accepts (S-9.1 A, 2006), stands for longer than the ones of a preamble by far, and ends within the millisecond within which an audit
// takes an off state for a cutout. Our own choice, around the times of RCN-217 2.4, from memory.
const (
	standsAfter = 64 * time.Microsecond
	standsFor   = 200 * time.Microsecond
	standsUntil = time.Millisecond
)

// edges takes the next edges.
func (w *wire) edges(edges []signal.Edge) {
	if !w.cutouts {
		w.audit.Edges(edges)
		return
	}
	for i, e := range edges {
		if e.Level == signal.Off {
			w.end()
			w.cutouts = false
			w.audit.Edges(edges[i:])
			return
		}
		if w.holds && e.Time-w.held[0].Time >= standsFor {
			w.stood(e.Time)
		}
		w.end()
		w.held[0], w.holds = e, true
	}
}

// stood takes a level that begins with the edge that is held, and has stood until a time.
func (w *wire) stood(until time.Duration) {
	began := w.held[0].Time
	if end, ok := w.audit.LastEnd(); ok && began-end <= standsAfter && until-end <= standsUntil {
		w.taken++
		w.audit.Unseen(false, true)
		w.held[0].Level = signal.Off // the level changed as the voltage went
		return
	}
	w.end()
	if end, ok := w.audit.LastEnd(); ok && end == began && until-end <= standsUntil {
		// The voltage went in this half-bit, and the level is the same: nobody knows when, and nothing is made of the time.
		w.taken++
		w.audit.Unseen(true, true)
		w.held[0], w.holds = signal.Edge{Time: began + standsAfter/2, Level: signal.Off}, true
	}
}

// end hands on what is held.
func (w *wire) end() {
	if w.holds {
		w.audit.Edges(w.held[:])
		w.holds = false
	}
}
