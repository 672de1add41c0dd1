package audit

import (
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// The judges of cutouts for bi-directional communication, of a station that claims them: RCN-217 and S-9.3.2, partly from memory. What
// is taken for a cutout kindOf says. What power does while somebody has a hand at the track is no cutout.

// isCutout reports whether an off state is a cutout after a packet that was heard whole.
func (a *Audit) isCutout(u signal.Unusable, kind offKind) bool {
	return kind == cutout && a.lastEnd != never && !a.handled(a.lastEnd)
}

// cutoutTime judges one time of a cutout, from the last edge of the end bit, RCN-217 2.4.
type cutoutTime struct {
	indifferent
	spread   verdict.Spread
	quantity string
	kind     Kind
	of       func(signal.Unusable) time.Duration
	hidden   func(unseen) bool // whether nobody has seen that time
}

// BID-001: T_CS.
func newCutoutBegins() *cutoutTime {
	return &cutoutTime{quantity: "end bit to cutout", kind: TimedToOff,
		of: func(u signal.Unusable) time.Duration { return u.Start }, hidden: func(n unseen) bool { return n.begins }}
}

// BID-002: T_CE.
func newCutoutEnds() *cutoutTime {
	return &cutoutTime{quantity: "end bit to end of cutout", kind: TimedFromOff,
		of: func(u signal.Unusable) time.Duration { return u.End }, hidden: func(n unseen) bool { return n.ends }}
}

func (j *cutoutTime) off(a *Audit, u signal.Unusable, kind offKind) {
	if a.isCutout(u, kind) && !j.hidden(a.unseen) {
		j.spread.Add(float64(j.of(u)-a.lastEnd), j.of(u))
	}
}

func (j *cutoutTime) report(*Audit) Report {
	return Report{Readings: []Reading{{j.quantity, j.kind, j.spread}}}
}

// preambleLeft judges BID-003: what a decoder sees of a preamble is what comes after the cutout, S-9.2 A (July 2004). A packet with less
// than a receiver wants is not heard at all, and counts with none.
type preambleLeft struct {
	spread verdict.Spread
	back   time.Duration // when the voltage came back after the newest cutout, never if something has followed
}

// oneLost is how soon after a cutout the preamble begins, where it does: a one in the middle of which the cutout has ended comes first.
// Here it is two of the longest that a station may send (S-9.1 A, 2020), so that one too long is not taken for none.
const oneLost = 4 * 61 * time.Microsecond

func (j *preambleLeft) off(a *Audit, u signal.Unusable, kind offKind) {
	j.back = never
	if a.isCutout(u, kind) {
		j.back = u.End
	}
}

func (j *preambleLeft) packet(_ *Audit, p *signal.Packet) { j.follow(p.Start, p.Preamble) }

func (j *preambleLeft) unusable(_ *Audit, u signal.Unusable) {
	if u.Reason == signal.ReasonPreambleTooShort {
		j.follow(u.Start, 0)
	}
}

// follow takes what came after a cutout.
func (j *preambleLeft) follow(start time.Duration, ones int) {
	if j.back != never && start-j.back < oneLost {
		j.spread.Add(float64(ones), start)
	}
	j.back = never
}

func (j *preambleLeft) report(*Audit) Report {
	return Report{Readings: []Reading{{"whole ones after a cutout", Counted, j.spread}}}
}

// serviceCutouts judges BID-004: cutouts are for the main track alone, RCN-217, from memory. A station that claims none has none here either.
type serviceCutouts struct {
	indifferent
	tally
}

func (j *serviceCutouts) off(a *Audit, u signal.Unusable, _ offKind) {
	if a.options.Track != station.Programming || a.lastEnd == never || a.handled(a.lastEnd) || !examination.InCutout(a.lastEnd, u) {
		return
	}
	if j.count(u.Start) {
		j.keep("the programming track between packets", "voltage", "a cutout of "+span(u.End-u.Start), u.Start)
	}
}

func (j *serviceCutouts) report(a *Audit) Report {
	return j.number(a, "cutouts on the programming track")
}

// cutoutMissing judges BID-006: the booster opens a cutout at the end of each packet, RCN-217 2.1 (after 2019). Only between two packets
// is it certain that there was none.
type cutoutMissing struct {
	tally
	waits  bool // for the cutout after the newest packet
	judged int64
}

func (j *cutoutMissing) packet(a *Audit, _ *signal.Packet) {
	if a.options.Cutout && j.waits && a.lastEnd != never && !a.handled(a.lastEnd) {
		j.judged++
		if j.count(a.lastEnd) {
			j.keep("after a packet", "a cutout", "none", a.lastEnd)
		}
	}
	j.waits = true
}

func (j *cutoutMissing) off(a *Audit, u signal.Unusable, kind offKind) {
	if j.waits && a.isCutout(u, kind) {
		j.judged++
	}
	j.waits = false
}

func (j *cutoutMissing) unusable(*Audit, signal.Unusable) { j.waits = false }

func (j *cutoutMissing) report(a *Audit) Report {
	r := Report{Failures: j.failures}
	m := Reading{Quantity: "packets without a cutout"}
	if j.judged > 0 {
		m.Spread.Add(float64(j.wrong), j.at)
		r.note("it was seen of %d packets whether a cutout follows", j.judged)
	}
	r.Readings = []Reading{m}
	return r
}
