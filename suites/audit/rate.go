package audit

import (
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// rate judges RATE-001: a packet every 30 ms, start bit to start bit, S-9.2 C (July 2004). Only good packets count. What was switched off or
// lost between two of them says nothing about the station.
type rate struct {
	spread verdict.Spread
	last   time.Duration // start bit of the good packet before
}

func newRate() *rate { return &rate{last: never} }

func (j *rate) packet(a *Audit, p *signal.Packet) {
	if p.Fault != signal.None && !(a.editions.advanced(p.Bytes) && p.Bytes.Valid()) {
		return
	}
	if j.last != never {
		j.spread.Add(float64(p.StartBit-j.last), j.last)
	}
	j.last = p.StartBit
}

func (j *rate) off(_ *Audit, _ signal.Unusable, kind offKind) {
	if kind == switchedOff {
		j.last = never
	}
}

func (j *rate) unusable(_ *Audit, u signal.Unusable) {
	if u.Reason == signal.ReasonLost {
		j.last = never
	}
}

func (j *rate) report(*Audit) Report {
	return Report{Readings: []Reading{{"start to start", Timed, j.spread}}}
}
