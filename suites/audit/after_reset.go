package audit

import (
	"fmt"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// resetThenService judges PKT-008: no first byte 100 to 127 within 20 ms of a reset packet, unless service mode is entered, S-9.2 B (July
// 2004). Service mode belongs on the programming track, where packets of it and address queries are left out. The time is that from the end bit of the reset to
// the start bit of the other.
type resetThenService struct {
	tally
	last  time.Duration // end of the newest reset
	times verdict.Spread
}

func newResetThenService() *resetThenService { return &resetThenService{last: never} }

var serviceAfterReset = limitOf("PKT-008", "reset to a first byte of 100-127")

func (j *resetThenService) packet(a *Audit, p *signal.Packet) {
	switch b := p.Bytes; {
	case p.Fault != signal.None:
	case b.IsReset():
		j.last = p.End
	case j.last != never && b[0] >= 100 && b[0] <= 127 && !a.service(b) && !a.query(b):
		after := p.StartBit - j.last
		j.times.Add(float64(after), j.last)
		if float64(after) < *serviceAfterReset.Min && j.count(p.Start) {
			j.keep("first byte after a reset", "none of 100 to 127 for 20 ms", fmt.Sprintf("packet %s %s after it", spaced(b), span(after)), p.Start)
		}
	}
}

func (j *resetThenService) off(_ *Audit, _ signal.Unusable, kind offKind) {
	if kind != cutout {
		j.last = never // decoders begin anew in operations mode, RP-9.2.4 A
	}
}

func (j *resetThenService) unusable(_ *Audit, u signal.Unusable) {
	if u.Reason == signal.ReasonLost {
		j.last = never
	}
}

func (j *resetThenService) report(a *Audit) Report {
	return j.number(a, "packets too soon after a reset").and("reset to a first byte of 100-127", Timed, j.times)
}

// resetThenPackets judges PKT-009: after a decoder reset, to all or to one, ten packets go by before one to an address of 112 to 127,
// S-9.2.1 C (July 2012).
type resetThenPackets struct {
	tally
	between int // packets since the newest reset, none when below zero
	counts  verdict.Spread
}

const noReset = -1

func newResetThenPackets() *resetThenPackets { return &resetThenPackets{between: noReset} }

var packetsAfterReset = limitOf("PKT-009", "packets between a reset and an address of 112-127")

func (j *resetThenPackets) packet(a *Audit, p *signal.Packet) {
	if a.service(p.Bytes) {
		return
	}
	body, mobile := mobileBody(p.Bytes)
	if mobile && p.Fault == signal.None && len(body) == 1 && body[0] == 0 {
		j.between = 0
		return
	}
	if j.between == noReset {
		return
	}
	if b := p.Bytes[0]; p.Fault == signal.None && b >= 112 && b <= 127 {
		j.counts.Add(float64(j.between), p.Start)
		if float64(j.between) < *packetsAfterReset.Min && j.count(p.Start) {
			j.keep("packets after a reset", "10 before one to 112 to 127", fmt.Sprintf("%d before %s", j.between, spaced(p.Bytes)), p.Start)
		}
	}
	if j.between < 1<<20 { // more is as good
		j.between++
	}
}

func (j *resetThenPackets) off(_ *Audit, _ signal.Unusable, kind offKind) {
	if kind != cutout {
		j.between = noReset
	}
}

func (j *resetThenPackets) unusable(_ *Audit, u signal.Unusable) {
	if u.Reason == signal.ReasonLost {
		j.between = noReset
	}
}

func (j *resetThenPackets) report(a *Audit) Report {
	return j.number(a, "packets too few after a reset").and("packets between a reset and an address of 112-127", Counted, j.counts)
}

// mobileBody is what a packet says to locomotive decoders, without address and error byte; false for packets to others. It allocates
// nothing.
func mobileBody(p dcc.Packet) ([]byte, bool) {
	if len(p) < dcc.MinPacketBytes {
		return nil, false
	}
	switch p.Partition() {
	case dcc.BroadcastPartition, dcc.ShortPartition:
		return p[1 : len(p)-1], true
	case dcc.LongPartition:
		return p[2 : len(p)-1], true
	}
	return nil, false
}
