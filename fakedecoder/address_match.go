package fakedecoder

import "bufferstop/harness/dcc"

// addresses is what the decoder compares the first bytes of a packet with.
type addresses struct {
	own dcc.Address
	// first and second are the address bytes of own; first is 0 when there is none, which no packet to one decoder has.
	first, second byte
	// consist is the first byte of packets to the decoder's consist, 0 for none.
	consist  byte
	reversed bool
}

// An audience says to whom a packet speaks.
type audience uint8

const (
	others audience = iota
	everyone
	thisDecoder
	thisConsist
)

// readdress works out, after a CV has changed, what addresses the decoder answers to.
func (d *Decoder) readdress() {
	cvs := &d.cvs
	m := addresses{}
	if cvs.values[cvConfiguration]&cv29LongAddress != 0 {
		m.own = dcc.Long(cvs.long)
		// S-9.2.1 C (July 2012): 11AAAAAA AAAAAAAA.
		m.first, m.second = longAddressHighLowest+byte(cvs.long>>8), byte(cvs.long)
	} else if a := cvs.values[cvPrimaryAddress]; a != 0 {
		m.own = dcc.Short(uint16(a))
		m.first = a
	}
	m.consist = cvs.values[cvConsist] & 0x7f
	m.reversed = cvs.values[cvConsist]&0x80 != 0
	d.match = m
}

// audience tells for whom a valid packet is, and how many address bytes it has. Partitions of the first byte: S-9.2.1 A
// (July 2012).
func (m *addresses) audience(b []byte) (audience, int) {
	first := b[0]
	switch {
	case first == 0:
		return everyone, 1
	case first < 128:
		if first == m.first {
			return thisDecoder, 1
		}
		if first == m.consist {
			return thisConsist, 1
		}
	case first >= longAddressHighLowest && first <= longAddressHighLast:
		if first == m.first && b[1] == m.second {
			return thisDecoder, 2
		}
	}
	return others, 1
}
