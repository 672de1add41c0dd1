package examination

import (
	"slices"
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

// The longest cutout, and how long the signal goes on after the end bit before one: RCN-217 2.4 and S-9.3.2 2.4, both from
// memory; S-9.2 footnote 3 (July 2004) has the 26 µs.
const (
	longestCutout  = 488 * time.Microsecond
	signalAfterEnd = 26 * time.Microsecond
)

// How much too early a probe may see voltage go, once it has taken off what its comparators are late by, and how much too late
// it may see it come back: the tolerances of rigs/bench/README.md (window comparator, 10 µs ± 1.5 µs) and what rigs/bench/probe
// promises of edges to off and back. What a station does at its limit is a cutout all the same.
const (
	offTooEarly = 1500 * time.Nanosecond
	backTooLate = 16 * time.Microsecond
)

// Disturbed returns the stretches of a watch that hold no packet and should: all but what the ends of the watch cut, and
// the cutouts of a station that claims them (S-9.2 C, July 2004: power may be removed between packets).
func (x *Check) Disturbed(w *harness.Watch) []signal.Unusable {
	var disturbed []signal.Unusable
	for _, u := range w.Unusable {
		switch {
		case u.Reason == signal.ReasonCutAtStart, u.Reason == signal.ReasonCutAtEnd:
		case u.Reason == signal.ReasonOff && x.File.Claims.Cutout && isCutout(w, u):
		default:
			disturbed = append(disturbed, u)
		}
	}
	return disturbed
}

// isCutout reports whether an off state lies where a cutout does: after the end of a packet, no longer than one.
func isCutout(w *harness.Watch, u signal.Unusable) bool {
	return slices.ContainsFunc(w.Packets, func(h harness.Heard) bool {
		return InCutout(h.End, u)
	})
}

// InCutout reports whether an off state lies where the cutout after a packet does that has ended at a time.
func InCutout(end time.Duration, u signal.Unusable) bool {
	return u.Start >= end+signalAfterEnd-offTooEarly && u.End <= end+longestCutout+backTooLate
}

// AsLongAsCutout reports whether an off state is no longer than a cutout may be.
func AsLongAsCutout(u signal.Unusable) bool {
	return u.End-u.Start <= longestCutout-signalAfterEnd+offTooEarly+backTooLate
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
