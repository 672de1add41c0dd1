package audit

import (
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// afterEndBit judges SIG-006: the bit stream goes on for at least 26 µs after each end bit, S-9.2 footnote 3 (July 2004). Where another
// packet follows it goes on at least until that one's start bit; where the track goes off, until then.
type afterEndBit struct {
	tally
	spread verdict.Spread
	end    time.Duration // of the packet before, never when what followed is not known
	offs   int64
}

var signalAfterEnd = limitOf("SIG-006", "signal after an end bit")

func newAfterEndBit() *afterEndBit { return &afterEndBit{end: never} }

func (j *afterEndBit) packet(_ *Audit, p *signal.Packet) {
	if j.end != never {
		j.spread.Add(float64(p.StartBit-j.end), j.end)
	}
	j.end = p.End
}

func (j *afterEndBit) off(a *Audit, u signal.Unusable, _ offKind) {
	if j.end != never && u.Start >= j.end && !a.handled(u.Start) {
		after := u.Start - j.end
		j.spread.Add(float64(after), j.end)
		j.offs++
		if float64(after) < *signalAfterEnd.Min && j.count(j.end) {
			j.keep("the track after an end bit", "signal for 26 µs", "off "+span(after)+" after it", j.end)
		}
	}
	j.end = never
}

// A track that goes off with the last edge of an end bit leaves no signal after it at all.
func (j *afterEndBit) unusable(a *Audit, u signal.Unusable) {
	j.end = never
	if u.Reason == signal.ReasonOffInEndBit {
		j.end = u.End
	}
}

func (j *afterEndBit) report(*Audit) Report {
	r := Report{Readings: []Reading{{"signal after an end bit", TimedToOff, j.spread}}, Failures: j.failures}
	if j.spread.Count > 0 {
		r.note("%d of %d packets were followed by an off state, the others by a packet", j.offs, j.spread.Count)
	}
	return r
}
