package fakedecoder

import "time"

// direct carries out 0111CCAA AAAAAAAA DDDDDDDD (S-9.2.3 E, July 2012: direct configuration variable addressing).
func (d *Decoder) direct(b []byte, end time.Duration) (time.Duration, bool) {
	if d.config.NoDirectMode {
		return end, false
	}
	cv := int(b[0]&3)<<8 | int(b[1]) + 1
	switch b[0] >> 2 & 3 {
	case 1:
		return d.access(cv, b[2], false, end)
	case 3:
		return d.access(cv, b[2], true, end)
	case 2:
		value, ok := d.withBit(cv, b[2])
		if !ok {
			return end, false
		}
		if b[2]&bitWrite != 0 {
			done, ok := d.writeCV(cv, value, end)
			return done, ok && !d.config.NoWriteAcknowledge
		}
		return end, d.verifyCV(cv, value)
	}
	return end, false // 00 is reserved
}

// bitWrite is K in the data byte 111KDBBB of a bit instruction: 1 writes, 0 verifies (S-9.2.3 E and S-9.2.1 C, July 2012).
const bitWrite = 0x10

// withBit is the CV's value with the bit of the instruction 111KDBBB set to D. It is false when this is no such
// instruction or the decoder has no bit mode.
func (d *Decoder) withBit(cv int, i byte) (byte, bool) {
	if i>>5 != 7 || d.config.NoBitMode {
		return 0, false
	}
	bit := i & 7
	return d.cvs.read(cv)&^(1<<bit) | i>>3&1<<bit, true
}
