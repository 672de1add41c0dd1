package examination

import (
	"time"

	"bufferstop/harness"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// Intervals returns the times from start bit to start bit of good packets that a stopped watch heard. The ends of the
// watch count too, so that a track which falls silent has its silence judged.
func Intervals(w *harness.Watch) verdict.Spread {
	var between verdict.Spread
	last := w.Begun
	for _, h := range w.Packets {
		if h.Fault == signal.None {
			between.Add(float64(h.StartBit-last), last)
			last = h.StartBit
		}
	}
	between.Add(float64(w.Ended-last), last)
	return between
}

// Disturbed returns the stretches of a watch that hold no packet and should: all but what the ends of the watch cut, and
// the cutouts of a station that claims them (S-9.2 C, July 2004: power may be removed between packets), well or badly timed: their
// times are a matter of their own.
func (x *Check) Disturbed(w *harness.Watch) []signal.Unusable {
	var disturbed []signal.Unusable
	for _, u := range w.Unusable {
		switch {
		case u.Reason == signal.ReasonCutAtStart, u.Reason == signal.ReasonCutAtEnd:
		case u.Reason == signal.ReasonOff && x.File.Claims.Cutout && isCutout(w.Packets, u):
		default:
			disturbed = append(disturbed, u)
		}
	}
	return disturbed
}

// Offs counts the off states of a track that are no cutouts, and tells when the first began.
func (x *Check) Offs(w *harness.Watch) (n int, first time.Duration) {
	for _, u := range x.Disturbed(w) {
		if u.Reason == signal.ReasonOff {
			if n == 0 {
				first = u.Start
			}
			n++
		}
	}
	return n, first
}
