package fakedecoder

import (
	"math/bits"
	"time"

	"bufferstop/harness/dcc"
)

// motion is what the motor was told.
type motion struct {
	step      int
	steps     dcc.Steps
	direction dcc.Direction
	emergency bool
}

// steps14 is how the standard reads a speed byte while CV29 bit 1 is clear. Stations of today do not send it.
const steps14 dcc.Steps = 14

// functions holds F0..F68, one bit each.
type functions [2]uint64

const lastFunction = 68

func (f *functions) on(n int) bool {
	return n >= 0 && n <= lastFunction && f[n/64]>>(n%64)&1 != 0
}

func (f *functions) set(n int, on bool) {
	f[n/64] &^= 1 << (n % 64)
	if on {
		f[n/64] |= 1 << (n % 64)
	}
}

// count is how many are on.
func (f *functions) count() int { return bits.OnesCount64(f[0]) + bits.OnesCount64(f[1]) }

// operate acts on a valid packet in operations mode.
func (d *Decoder) operate(b []byte, end time.Duration) {
	who, n := d.match.audience(b)
	if who == others {
		return
	}
	d.counters.Addressed++
	body := b[n : len(b)-1]
	// Any packet to this decoder that is not the second of the pair breaks a programming on the main (S-9.2.1 C).
	if d.main.length != 0 && !d.main.same(b) {
		d.main.length = 0
	}
	for len(body) > 0 {
		used := d.instruct(who, body, b, end)
		if used == 0 || used > len(body) {
			break
		}
		body = body[used:]
	}
	d.draw()
}

// instruct carries out the instruction that i begins with (S-9.2.1 C, July 2012: CCC are the top three bits) and returns
// how many bytes it took; 0 for one it does not know, whose length it cannot tell.
func (d *Decoder) instruct(who audience, i, packet []byte, end time.Duration) int {
	switch i[0] >> 5 {
	case 0:
		return d.control(who, i)
	case 1:
		return d.advancedOperation(who, i)
	case 2, 3:
		d.speed28(who, i[0])
		return 1
	case 4:
		// 100DDDDD: bit 4 is F0, bits 0..3 are F1..F4. F0 sits here only when CV29 bit 1 is set.
		d.setFunctions(who, 1, 4, i[0])
		if d.cvs.values[cvConfiguration]&cv29Steps28 != 0 {
			d.setFunctions(who, 0, 1, i[0]>>4)
		}
		return 1
	case 5:
		if i[0]&0x10 != 0 {
			d.setFunctions(who, 5, 4, i[0])
		} else {
			d.setFunctions(who, 9, 4, i[0])
		}
		return 1
	case 6:
		return d.expansion(who, i)
	default:
		return d.accessOnMain(who, i, packet, end)
	}
}

// control carries out decoder and consist control, CCC = 000.
func (d *Decoder) control(who audience, i []byte) int {
	if who == thisConsist {
		return 0 // a consist address carries speed and functions only
	}
	switch {
	case i[0] == 0:
		d.reset()
		return 1
	case i[0] == 1:
		d.cvs.hardReset()
		d.readdress()
		d.reset()
		return 1
	case i[0]&^1 == 0x0a: // 0000101D: set CV29 bit 5
		value := d.cvs.values[cvConfiguration]&^cv29LongAddress | i[0]&1<<5
		if d.cvs.writable(cvConfiguration, value) {
			d.cvs.store(cvConfiguration, value)
			d.readdress()
		}
		return 1
	case i[0]&^1 == 0x12 && len(i) >= 2: // 0001001R 0AAAAAAA: consist, R = reversed
		value := i[1]&0x7f | i[0]&1<<7
		if i[1]&0x7f == 0 {
			value = 0
		}
		if d.cvs.writable(cvConsist, value) {
			d.cvs.store(cvConsist, value)
			d.readdress()
		}
		return 2
	case i[0] < 0x10:
		return 1 // factory test, flags, acknowledge request: nothing that this decoder has
	}
	return 0
}

// reset erases the volatile state and stops at once (S-9.2 B, July 2004: digital decoder reset packet). The page
// register stays as it is (S-9.2.3 E, July 2012).
func (d *Decoder) reset() {
	d.motion = motion{direction: dcc.Forward}
	d.active = functions{}
	d.main.length = 0
	d.draw()
}

// advancedOperation carries out CCC = 001.
func (d *Decoder) advancedOperation(who audience, i []byte) int {
	switch i[0] {
	case 0x3f: // 00111111 DSSSSSSS: 126 steps
		if len(i) < 2 {
			return 0
		}
		d.speed128(who, i[1])
		return 2
	case 0x3e: // restricted speed: this decoder has none
		return 2
	case 0x3d: // analogue function: this decoder has none
		return 3
	}
	return 0
}

// speed28 takes 01DCSSSS (S-9.2 B, July 2004), as 14 steps while CV29 bit 1 is clear (S-9.2.1 C, July 2012).
func (d *Decoder) speed28(who audience, i byte) {
	four, c := int(i&0x0f), int(i>>4&1)
	m := motion{steps: dcc.Steps28, emergency: four == 1}
	keep := false
	if d.cvs.values[cvConfiguration]&cv29Steps28 == 0 {
		m.steps = steps14
		m.step = max(four-1, 0)
		d.setFunctions(who, 0, 1, byte(c))
	} else {
		m.step = max(four<<1|c-3, 0)
		if four < 2 {
			m.step = 0
			keep = c == 1 // stop and emergency stop that leave the direction alone
		}
	}
	d.move(who, m, i&0x20 != 0, keep)
}

// speed128 takes DSSSSSSS.
func (d *Decoder) speed128(who audience, i byte) {
	s := int(i & 0x7f)
	d.move(who, motion{steps: dcc.Steps128, step: max(s-1, 0), emergency: s == 1}, i&0x80 != 0, false)
}

// move passes a speed instruction to the motor. keep leaves the direction as it is.
func (d *Decoder) move(who audience, m motion, forward, keep bool) {
	// In a consist, speed to the decoder's own address is ignored (S-9.2.1 C, July 2012).
	if who == thisDecoder && d.match.consist != 0 {
		return
	}
	if who == thisConsist && d.match.reversed {
		forward = !forward
	}
	m.direction = dcc.Reverse
	if forward {
		m.direction = dcc.Forward
	}
	if keep {
		m.direction = d.motion.direction
	}
	d.motion = m
}

// setFunctions sets count functions from first on by the low bits of states.
func (d *Decoder) setFunctions(who audience, first, count int, states byte) {
	for k := range count {
		if who == thisConsist && !d.inConsist(first+k) {
			continue
		}
		d.active.set(first+k, states>>k&1 != 0)
	}
}

// inConsist reports whether the function obeys the consist address: CV21 has F1..F8, CV22 has F0 forward and reverse in
// bits 0 and 1 and F9..F12 in bits 2..5 (S-9.2.2, July 2012).
func (d *Decoder) inConsist(n int) bool {
	switch low, high := d.cvs.values[cvConsistF1F8], d.cvs.values[cvConsistF0F9F12]; {
	case n == 0:
		if d.motion.direction == dcc.Forward {
			return high&1 != 0
		}
		return high&2 != 0
	case n <= 8:
		return low>>(n-1)&1 != 0
	case n <= 12:
		return high>>(n-7)&1 != 0
	}
	return false
}

// expansion takes the feature expansion instructions, CCC = 110.
func (d *Decoder) expansion(who audience, i []byte) int {
	first := 0
	switch i[0] {
	case 0xde:
		first = 13
	case 0xdf:
		first = 21
	case 0xd8, 0xd9, 0xda, 0xdb, 0xdc: // F29..F68: RCN-212 and later editions of S-9.2.1, from memory
		first = 29 + 8*int(i[0]-0xd8)
	case 0xdd: // binary state, short form: this decoder has none
		return 2
	case 0xc0: // binary state, long form
		return 3
	default:
		return 0
	}
	if len(i) < 2 {
		return 0
	}
	d.setFunctions(who, first, 8, i[1])
	return 2
}
