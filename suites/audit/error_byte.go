package audit

import "bufferstop/harness/signal"

// errorByte judges PKT-003: the last byte is the exclusive or of those before, S-9.2 B (July 2004), S-9.2.1 C (July 2012). A packet of a
// wrong length is judged by that; but an advanced extended packet, which may be longer than six bytes, ends with one as well (S-9.2.1.1,
// draft of November 2021).
type errorByte struct {
	indifferent
	tally
}

func newErrorByte() *errorByte { return &errorByte{} }

func (j *errorByte) packet(a *Audit, p *signal.Packet) {
	wrong := p.Fault == signal.BadErrorByte || p.Fault == signal.TooLong && a.editions.advanced(p.Bytes) && !p.Bytes.Valid()
	if wrong && j.count(p.Start) {
		j.keep("error byte", "exclusive or of the bytes before it", "packet "+spaced(p.Bytes), p.Start)
	}
}

func (j *errorByte) report(a *Audit) Report { return j.number(a, "packets with a wrong error byte") }
