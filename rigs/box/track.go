//go:build simavr

package box

import (
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"
	"bufferstop/rigs/rails"
)

// never is later than any time of a box.
const never = time.Duration(1<<63 - 1)

// A track lies between the station and the probe.
type track struct {
	rails.Output
	wired *BoardTrack // nil for one that the probe does not have
	seen  seen
	// absentAt is when ABSENT rises, after the voltage went, or never.
	absentAt time.Duration
	present  bool // ABSENT is low
	load     int  // steps
	short    bool
	// power is what was last told of it; since is when the station last began or ceased to drive it.
	power   bool
	since   time.Duration
	flowed  float64 // amperes, when it ceased
	shorted bool    // a short lay across it then
}

// seen is what has happened on the rails and has not been passed on.
type seen struct{ edges []signal.Edge }

func (s *seen) Edges(e []signal.Edge)    { s.edges = append(s.edges, e...) }
func (s *seen) Samples([]current.Sample) {}

// show passes on to the comparators of the probe what has happened on the rails.
func (b *Box) show(t *track) {
	if t.wired == nil {
		return
	}
	t.Flush()
	for _, e := range t.seen.edges {
		cycle := b.probe.cycles(e.Time)
		if e.Level == signal.Off {
			t.absentAt = e.Time + offDelay
			continue
		}
		// Pulled low at once; what it had begun to rise by is less than the comparator needs.
		t.absentAt = never
		b.pin(cycle, t.wired.Sign, e.Level == signal.Positive)
		if !t.present {
			t.present = true
			b.pin(cycle, t.wired.Absent, false)
		}
	}
	t.seen.edges = t.seen.edges[:0]
}

// miss has ABSENT rise, when its time has come.
func (b *Box) miss(t *track) {
	b.pin(b.probe.cycles(t.absentAt), t.wired.Absent, true)
	t.absentAt, t.present = never, false
}
