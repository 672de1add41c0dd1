package conformance

import (
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// RCN-217 2.4, from memory: T_CS, from the last edge of the end bit.
func cutoutBegins(x *examination.Check) {
	var begins verdict.Spread
	for _, c := range examination.Cutouts(traffic(x)) {
		begins.Add(float64(c.Begins-c.Packet), c.Begins)
	}
	x.SpreadOfOffs("end bit to cutout", begins, uncertainty.OffBegins)
}

// RCN-217 2.4, from memory: T_CE, from the same edge.
func cutoutEnds(x *examination.Check) {
	var ends verdict.Spread
	for _, c := range examination.Cutouts(traffic(x)) {
		ends.Add(float64(c.Ends-c.Packet), c.Ends)
	}
	x.SpreadOfOffs("end bit to end of cutout", ends, uncertainty.OffEnds)
}

// S-9.2 A: what a decoder sees of the preamble is what comes after the cutout. A packet with less than a receiver wants is not heard at
// all, and counts with none.
func preambleAfterCutout(x *examination.Check) {
	w := traffic(x)
	var ones verdict.Spread
	for _, c := range examination.Cutouts(w) {
		switch next := c.After + 1; {
		case next < len(w.Packets) && w.Packets[next].Start-c.Ends < oneLost:
			ones.Add(float64(w.Packets[next].Preamble), w.Packets[next].Start)
		case torn(w, c):
			ones.Add(0, c.Ends)
		}
	}
	x.SpreadOfCounts("whole ones after a cutout", ones)
}

// oneLost is how soon after a cutout the preamble begins, where it does: a one in the middle of which the cutout has ended comes first.
// Here it is two of the longest that a station may send (S-9.1 A, 2020), so that one too long is not taken for none.
const oneLost = 4 * 61 * time.Microsecond

// torn reports whether what follows a cutout made no packet, and not because the watch ended.
func torn(w *harness.Watch, c examination.Cutout) bool {
	for _, u := range w.Unusable {
		if u.Start >= c.Ends && u.Start-c.Ends < oneLost && u.End < w.Ended {
			return true
		}
	}
	return false
}

// Cutouts are for the main track, from memory.
func noCutoutInServiceMode(x *examination.Check) {
	w := traffic(x)
	cutouts := examination.Cutouts(w)
	at := x.Rig.Now()
	for _, c := range cutouts {
		at = c.Begins
		x.Wrong("the programming track between packets", "voltage", fmt.Sprintf("a cutout of %v", c.Ends-c.Begins), c.Begins)
	}
	x.Number("cutouts on the programming track", len(cutouts), at)
}

// RCN-217 2.1: the booster opens a cutout at the end of each packet. The last packet that was heard is let off: the watch may have
// ended before its cutout has.
func cutoutAfterEachPacket(x *examination.Check) {
	w := traffic(x)
	has := map[int]bool{}
	for _, c := range examination.Cutouts(w) {
		has[c.After] = true
	}
	without, at := 0, w.Ended
	for i, h := range w.Packets[:max(len(w.Packets)-1, 0)] {
		if !has[i] {
			without++
			at = h.End
			x.Wrong("after a packet", "a cutout", "none", h.End)
		}
	}
	if len(w.Packets) < 2 {
		x.Inconclusive("%d packets were heard", len(w.Packets))
	}
	x.Number("packets without a cutout", without, at)
}
