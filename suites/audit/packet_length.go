package audit

import (
	"fmt"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// packetLength judges PKT-004: three to six bytes, S-9.2.1, introduction (July 2012). Longer ones of the partitions 253 and 254, where the
// edition has them, are left to PKT-012.
type packetLength struct {
	indifferent
	editions editions
	spread   verdict.Spread
}

func newPacketLength(e editions) *packetLength { return &packetLength{editions: e} }

func (j *packetLength) packet(_ *Audit, p *signal.Packet) {
	if !j.editions.advanced(p.Bytes) {
		j.spread.Add(float64(len(p.Bytes)), p.Start)
	}
}

func (j *packetLength) report(*Audit) Report {
	return Report{Readings: []Reading{{"packet length", Counted, j.spread}}}
}

// longPackets judges PKT-012: more than six bytes only in the partitions 253 and 254, and then with a CRC before the error byte,
// S-9.2.1.1 (draft of November 2021) 1.1; the CRC itself from memory.
type longPackets struct {
	indifferent
	tally
	editions editions
}

func newLongPackets(e editions) *longPackets { return &longPackets{editions: e} }

func (j *longPackets) packet(_ *Audit, p *signal.Packet) {
	n := len(p.Bytes)
	switch {
	case n >= dcc.MinPacketBytes && n <= dcc.MaxPacketBytes:
	case n > dcc.MaxPacketBytes && j.editions.advanced(p.Bytes):
		if body := p.Bytes[:n-2]; p.Bytes[n-2] != crc8(body) && j.count(p.Start) {
			j.keep("CRC of a packet of more than six bytes", fmt.Sprintf("%02x before the error byte", crc8(body)), "packet "+spaced(p.Bytes), p.Start)
		}
	case j.count(p.Start):
		j.keep("packet length", "3 to 6 bytes in its partition", fmt.Sprintf("%d bytes: %s", n, spaced(p.Bytes)), p.Start)
	}
}

func (j *longPackets) report(a *Audit) Report {
	return j.number(a, "packets too long or too short for their partition")
}

// crc8 is the CRC with the polynomial x8+x5+x4+1, least significant bit first, from zero (from memory: RCN-218 takes that of 1-Wire).
func crc8(bytes []byte) byte {
	const polynomial = 0x8c // x8+x5+x4+1, reflected
	crc := byte(0)
	for _, b := range bytes {
		crc ^= b
		for range 8 {
			carry := crc & 1
			crc >>= 1
			crc ^= carry * polynomial
		}
	}
	return crc
}
