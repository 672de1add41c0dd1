package audit

import "bufferstop/harness/signal"

// errorByte judges PKT-003: the last byte is the exclusive or of those before, S-9.2 B (July 2004), S-9.2.1 C (July 2012). A packet of a
// wrong length is judged by that.
type errorByte struct {
	indifferent
	tally
}

func newErrorByte() *errorByte { return &errorByte{} }

func (j *errorByte) packet(_ *Audit, p *signal.Packet) {
	if p.Fault == signal.BadErrorByte && j.count(p.Start) {
		j.keep("error byte", "exclusive or of the bytes before it", "packet "+spaced(p.Bytes), p.Start)
	}
}

func (j *errorByte) report(a *Audit) Report { return j.number(a, "packets with a wrong error byte") }
