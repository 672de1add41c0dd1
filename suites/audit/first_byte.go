package audit

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
)

// firstByte judges PKT-005: S-9.2 A (July 2004) reserves 0, 254 and 255 but for what the standards provide, S-9.2.1 A (July 2012)
// divides the rest. Only packets that a decoder would act on are judged, so that a wrong error byte is not counted twice.
type firstByte struct {
	indifferent
	tally
	editions editions
}

func newFirstByte(e editions) *firstByte { return &firstByte{editions: e} }

func (j *firstByte) packet(_ *Audit, p *signal.Packet) {
	var wanted string
	switch b := p.Bytes; {
	case p.Fault != signal.None || j.editions.advanced(b):
		return
	case b.Partition() == dcc.Reserved || b.Partition() == dcc.AdvancedPartition:
		wanted = "0 to 231, or 255 of an idle packet"
		if !j.editions.oldFirstBytes {
			wanted += ", or 253 and 254"
		}
	case b.Partition() == dcc.IdlePartition && !b.IsIdle():
		wanted = "ff 00 ff, the idle packet"
	default:
		return
	}
	if j.count(p.Start) {
		j.keep("first byte", wanted, "packet "+spaced(p.Bytes), p.Start)
	}
}

func (j *firstByte) report(a *Audit) Report { return j.number(a, "packets with a reserved first byte") }
