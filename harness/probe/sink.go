package probe

import (
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"
)

// A Sink takes what a probe has seen. Tracks are named by their id ([Main], [Programming]), times count from the opening
// of the probe. For each track, what it gets is in order of time; slices are valid during the call only.
type Sink interface {
	// Edges are changes of a track. The first edge of all, and the first after a lost stretch, tells the level that the
	// track has then, not that it changed.
	Edges(track int, e []signal.Edge)
	// Samples are those of the track's current. They are not cut off at zero, so that their mean is true also there.
	Samples(track int, s []current.Sample)
	// Lost says that nothing is known of the edges of a track between the two times. No edge of that time comes, and
	// samples of it are likely to be missing.
	Lost(track int, from, to time.Duration)
	// Complete says that all that happened before until, on every track, has been handed out, and that nothing after it
	// has.
	Complete(until time.Duration)
	// Event tells what happened in the probe. It comes as soon as it is known, not in order with the rest.
	Event(e Event)
}

// An Event is an Occurrence at its time.
type Event struct {
	Time  time.Duration
	What  What
	Track int
	Rule  int // of ReflexFired
}

// A Correction is what a calibration has found out about a track.
type Correction struct {
	// Gain is by how much the current is more than the Hello's figures say, and Zero the counts without current. A Gain
	// of zero says that neither is known: the figures of the Hello stand.
	Gain, Zero float64
}
