package audit

import (
	"strconv"

	"bufferstop/harness/signal"
)

// binaryStates judges PKT-007: 11000000 DLLLLLLL HHHHHHHH is for the binary states above 127, and for all of them as number 0; those of
// 1 to 127 take 11011101 DLLLLLLL, S-9.2.1 C (July 2012).
type binaryStates struct {
	indifferent
	tally
}

func newBinaryStates() *binaryStates { return &binaryStates{} }

func (j *binaryStates) packet(a *Audit, p *signal.Packet) {
	if p.Fault != signal.None || a.service(p.Bytes) {
		return
	}
	body, mobile := mobileBody(p.Bytes)
	if !mobile || len(body) != 3 || body[0] != 0xc0 || body[2] != 0 || body[1]&0x7f == 0 {
		return
	}
	if j.count(p.Start) {
		j.keep("binary state "+strconv.Itoa(int(body[1]&0x7f)), "the short form, 11011101", "packet "+spaced(p.Bytes), p.Start)
	}
}

func (j *binaryStates) report(a *Audit) Report {
	return j.number(a, "binary states 1-127 in the long form")
}
