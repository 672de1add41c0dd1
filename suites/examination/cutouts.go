package examination

import (
	"slices"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/current"
	"bufferstop/harness/signal"
)

// What is taken for a cutout: an off state that begins soon after a packet and is over soon. The bounds are twice those that a
// cutout has (from 26 to 32 until 454 to 488 µs after the end bit, RCN-217 2.4 and S-9.3.2 2.4, both from memory), so that one at the
// wrong time is measured and not only missed. Our own choice.
const (
	cutoutBegins = 100 * time.Microsecond
	cutoutEnds   = time.Millisecond
)

// A Cutout is the off state after a packet, for bi-directional communication.
type Cutout struct {
	// After is the place of the packet in its watch.
	After int
	// Packet is when its end bit ended, Begins when the voltage went and Ends when it came back.
	Packet, Begins, Ends time.Duration
}

// Cutouts returns the cutouts of a watch.
func Cutouts(w *harness.Watch) []Cutout {
	var all []Cutout
	for _, u := range w.Unusable {
		if i, ok := cutoutAfter(w.Packets, u); ok {
			all = append(all, Cutout{After: i, Packet: w.Packets[i].End, Begins: u.Start, Ends: u.End})
		}
	}
	return all
}

// isCutout reports whether an off state is a cutout. One before the first packet that was heard follows one that had begun before the
// watch, as far as it can be told.
func isCutout(packets []harness.Heard, u signal.Unusable) bool {
	if len(packets) == 0 || u.Start < packets[0].End {
		return u.Reason == signal.ReasonOff && u.End-u.Start <= cutoutEnds && (len(packets) == 0 || u.End <= packets[0].Start)
	}
	_, is := cutoutAfter(packets, u)
	return is
}

// cutoutAfter finds the packet after which an off state is a cutout.
func cutoutAfter(packets []harness.Heard, u signal.Unusable) (place int, ok bool) {
	if u.Reason != signal.ReasonOff {
		return 0, false
	}
	// The first packet that ends after the off state has begun; the one before it is the one in question.
	i, _ := slices.BinarySearchFunc(packets, u.Start, func(h harness.Heard, t time.Duration) int {
		if h.End <= t {
			return -1
		}
		return 1
	})
	if i == 0 {
		return 0, false
	}
	return i - 1, InCutout(packets[i-1].End, u)
}

// InCutout reports whether an off state lies where the cutout after a packet does that has ended at a time.
func InCutout(end time.Duration, u signal.Unusable) bool {
	return u.Start >= end && u.Start-end <= cutoutBegins && u.End-end <= cutoutEnds
}

// AsLongAsCutout reports whether an off state is no longer than what is taken for a cutout.
func AsLongAsCutout(u signal.Unusable) bool { return u.End-u.Start <= cutoutEnds }

// Carrying returns the samples of a watch that were taken while the track had voltage: what a station draws in a cutout, which is
// nothing, is not what lies on its rails. Without the claim these are all.
func (x *Check) Carrying(w *harness.Watch) []current.Sample {
	if !x.File.Claims.Cutout {
		return w.Currents
	}
	cutouts := Cutouts(w)
	return slices.DeleteFunc(slices.Clone(w.Currents), func(s current.Sample) bool {
		i, _ := slices.BinarySearchFunc(cutouts, s.Time, func(c Cutout, t time.Duration) int {
			if c.Ends < t {
				return -1
			}
			return 1
		})
		return i < len(cutouts) && cutouts[i].Begins <= s.Time
	})
}

// LongestCutout is how long a station may leave its track without voltage and it is no cut: nothing unless it claims cutouts.
func (x *Check) LongestCutout() time.Duration {
	if x.File.Claims.Cutout {
		return cutoutEnds
	}
	return 0
}
