package fakedecoder

import (
	"time"

	"bufferstop/harness/dcc"
)

// mainAccess remembers the first of the two identical packets that programming on the main needs.
type mainAccess struct {
	packet [dcc.MaxPacketBytes]byte
	length int // 0 for none
}

func (m *mainAccess) same(b []byte) bool { return string(m.packet[:m.length]) == string(b) }

func (m *mainAccess) keep(b []byte) { m.length = copy(m.packet[:], b) }

// accessOnMain takes the CV access instructions, CCC = 111 (S-9.2.1 C, July 2012). The long form is never valid at a
// consist address. Nothing answers: this decoder has no bi-directional communication.
func (d *Decoder) accessOnMain(who audience, i, packet []byte, end time.Duration) int {
	if who == thisConsist {
		return 0
	}
	if i[0]&0x10 != 0 {
		return d.accessOnMainShort(i, end)
	}
	if len(i) < 3 {
		return 0
	}
	// Two identical packets, with none to this decoder between. A third begins a new pair.
	if d.main.length == 0 {
		d.main.keep(packet)
		return 3
	}
	d.main.length = 0
	d.settle(end)
	if d.cvs.busy() {
		return 3
	}
	cv := int(i[0]&3)<<8 | int(i[1]) + 1
	switch i[0] >> 2 & 3 {
	case 3:
		d.writeCV(cv, i[2], end)
	case 2:
		if value, ok := d.withBit(cv, i[2]); ok && i[2]&bitWrite != 0 {
			d.writeCV(cv, value, end)
		}
	}
	return 3
}

// accessOnMainShort takes 1111CCCC DDDDDDDD, for which one packet is enough: CV23 and CV24.
func (d *Decoder) accessOnMainShort(i []byte, end time.Duration) int {
	if len(i) < 2 {
		return 0
	}
	cv := 0
	switch i[0] & 0x0f {
	case 2:
		cv = cvAcceleration
	case 3:
		cv = cvDeceleration
	default:
		return 0
	}
	d.settle(end)
	if !d.cvs.busy() {
		d.writeCV(cv, i[1], end)
	}
	return 2
}
