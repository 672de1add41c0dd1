package audit

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
)

// instructions judges PKT-006: S-9.2.1 B, C and D (July 2012), S-9.2.3 E (July 2012) on the programming track, and the editions after
// them. It reads the bytes by itself, from the tables of the standards, and not through the codec by which other packets are made. Only
// packets that a decoder would act on are judged; first bytes that are reserved are those of PKT-005.
type instructions struct {
	indifferent
	tally
	editions editions
}

func newInstructions(e editions) *instructions { return &instructions{editions: e} }

func (j *instructions) packet(a *Audit, p *signal.Packet) {
	if p.Fault != signal.None {
		return
	}
	if why := j.editions.wrong(p.Bytes, a.service(p.Bytes)); why != "" && j.count(p.Start) {
		j.keep("instruction", "one that exists", why+": packet "+spaced(p.Bytes), p.Start)
	}
}

func (j *instructions) report(a *Audit) Report {
	return j.number(a, "packets with an instruction that does not exist")
}

// wrong says what is wrong with the instructions of a packet of three to six bytes with the right error byte; it is empty when nothing is.
// It allocates nothing.
func (e editions) wrong(p dcc.Packet, service bool) string {
	if service {
		return wrongService(p)
	}
	switch p.Partition() {
	case dcc.BroadcastPartition, dcc.ShortPartition, dcc.LongPartition:
		body, _ := mobileBody(p)
		return e.wrongMobile(body, p[0])
	case dcc.AccessoryPartition:
		return e.wrongAccessory(p)
	}
	return ""
}

// wrongService reads 0111CCAA AAAAAAAA DDDDDDDD of the direct method and 0111CRRR DDDDDDDD of the others: S-9.2.3 E (July 2012).
func wrongService(p dcc.Packet) string {
	if len(p) == 3 {
		return ""
	}
	switch p[0] >> 2 & 3 {
	case 0:
		return "reserved operation of the direct method, CC=00"
	case 2:
		if p[2]>>5 != 7 { // 111KDBBB
			return "bit of a CV without its three leading ones"
		}
	}
	return ""
}
