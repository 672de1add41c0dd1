package audit

import (
	"fmt"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
)

// hardReset judges PKT-013: a hard reset in service mode, 00000000 00000001 00000001, is followed by ten idle or reset packets, S-9.2.3 E
// (July 2012). One that is repeated begins anew. Where the track goes off before, or the signal is lost, there is nothing to count.
type hardReset struct {
	tally
	after  int // idle and reset packets since the newest hard reset, none when below zero
	counts verdict.Spread
}

func newHardReset() *hardReset { return &hardReset{after: noReset} }

var packetsAfterHardReset = limitOf("PKT-013", "idle and reset packets after a hard reset")

func (j *hardReset) packet(a *Audit, p *signal.Packet) {
	switch b := p.Bytes; {
	case a.options.Track != station.Programming || p.Fault != signal.None:
	case isHardReset(b):
		j.after = 0
	case j.after == noReset:
	case b.IsReset() || b.IsIdle():
		if j.after++; float64(j.after) >= *packetsAfterHardReset.Min {
			j.counts.Add(float64(j.after), p.Start)
			j.after = noReset
		}
	default:
		j.counts.Add(float64(j.after), p.Start)
		if j.count(p.Start) {
			j.keep("after a hard reset", "ten idle or reset packets", fmt.Sprintf("%d before %s", j.after, spaced(b)), p.Start)
		}
		j.after = noReset
	}
}

func isHardReset(p dcc.Packet) bool { return len(p) == 3 && p[0] == 0 && p[1] == 1 }

func (j *hardReset) off(*Audit, signal.Unusable, offKind) { j.after = noReset }

func (j *hardReset) unusable(*Audit, signal.Unusable) { j.after = noReset }

func (j *hardReset) report(a *Audit) Report {
	r := j.number(a, "hard resets with less after them").and("idle and reset packets after a hard reset", Counted, j.counts)
	if j.counts.Count == 0 {
		r.note("no hard reset was sent")
	}
	return r
}
