package audit

import (
	"bufferstop/harness/signal"
)

// framing judges PKT-002: the stream holds packets and nothing else, S-9.2 A and C (July 2004). What the ends of the signal and losses of
// the probe cut is nobody's fault; neither is a packet that was cut as the track went off, since a signal alone does not tell a station
// that does not wait from a supply that was pulled.
type framing struct {
	indifferent
	tally
	cut      signal.Unusable // a packet that an off state has cut, until it is known what that is
	isCut    bool
	cutByOff int64
}

func newFraming() *framing { return &framing{} }

func (j *framing) unusable(_ *Audit, u signal.Unusable) {
	switch u.Reason {
	case signal.ReasonCutAtStart, signal.ReasonCutAtEnd, signal.ReasonLost:
	case signal.ReasonCutByOff, signal.ReasonOffInEndBit:
		j.cut, j.isCut = u, true
	default:
		j.broken(u)
	}
}

func (j *framing) off(_ *Audit, u signal.Unusable, kind offKind) {
	if j.isCut {
		j.isCut = false
		if kind == switchedOff {
			j.cutByOff++
		} else {
			j.broken(j.cut)
		}
	}
	if kind == gap {
		j.broken(u)
	}
}

func (j *framing) broken(u signal.Unusable) {
	if j.count(u.Start) {
		j.keep("the track between packets", "a preamble or a power cut that was asked for", string(u.Reason)+" for "+span(u.End-u.Start), u.Start)
	}
}

func (j *framing) report(a *Audit) Report {
	r := j.number(a, "stretches that hold no packet")
	if j.cutByOff > 0 {
		r.note("%d packets were cut as the track went off: that is not judged", j.cutByOff)
	}
	return r
}
