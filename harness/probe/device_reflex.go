package probe

import (
	"bytes"
	"time"
)

// A reflexRule is one rule of a device.
type reflexRule struct {
	Reflex     // Length 0: none
	heard  int // identical packets in a row
}

// clearRules takes all rules away and reports whether there were any.
func (d *Device) clearRules() (some bool) {
	for i := range d.rules {
		some = some || d.rules[i].Length > 0
		d.rules[i] = reflexRule{}
	}
	return some
}

// packet looks whether a packet that ends now fires a rule.
func (d *Device) packet(t *deviceTrack, packet []byte) {
	for i := range d.rules {
		r := &d.rules[i]
		if r.Length == 0 || r.Track != t.ID {
			continue
		}
		if !bytes.Equal(packet, r.Bytes[:r.Length]) {
			r.heard = 0
			continue
		}
		if r.heard++; r.heard == int(r.Run) {
			t.load.queue = append(t.load.queue[:0],
				queuedStep{timed: true, at: d.now + d.units(r.Delay), level: r.Level, hold: max(d.units(r.Width), 1)},
				queuedStep{restores: true})
			d.event(d.now, ReflexFired, t.ID, r.Rule)
			d.workLoad(t)
		}
	}
}

// What the recogniser takes for half a one and half a zero: the bounds are in the middle between what decoders must accept
// as either (S-9.1 A, 2020: a half one from 52 µs to 64 µs, a half zero from 90 µs to 10000 µs).
const (
	shortestHalf = 26 * time.Microsecond
	longestOne   = 77 * time.Microsecond
	longestZero  = 12 * time.Millisecond
	// leastPreamble is in half-bits: a decoder has to accept ten ones (S-9.2 A, July 2004).
	leastPreamble = 20
)

// A recogniser finds packets in edges, as little firmware does it.
type recogniser struct {
	shortest, one, zero int64 // ticks

	last  int64 // tick of the newest edge
	known bool
	ones  int  // half ones in a row, while hunting
	state byte // hunting, startBit or inPacket
	half  int8 // -1 or what the first half of the bit says
	shift byte
	count int // bits of the byte
	bytes [MaxReflexBytes]byte
	n     int
}

const (
	hunting byte = iota
	startBit
	inPacket
)

func newRecogniser(hz uint64) recogniser {
	ticks := func(d time.Duration) int64 { return int64(d) * int64(hz/1000) / 1e6 }
	return recogniser{shortest: ticks(shortestHalf), one: ticks(longestOne), zero: ticks(longestZero), half: -1}
}

// edge takes an edge and returns the packet whose end bit it ends, or nil.
func (r *recogniser) edge(tick int64, code Code) []byte {
	length := tick - r.last
	known := r.known
	r.last, r.known = tick, code != CodeOff
	if !known || !r.known || length < r.shortest || length > r.zero {
		r.hunt(0)
		return nil
	}
	bit := int8(1)
	if length > r.one {
		bit = 0
	}
	switch r.state {
	case hunting:
		if bit == 1 {
			r.ones++
		} else if r.ones >= leastPreamble {
			r.state = startBit
		} else {
			r.ones = 0
		}
	case startBit:
		if bit == 1 {
			r.hunt(1)
			break
		}
		r.state, r.half, r.count, r.n, r.shift = inPacket, -1, 0, 0, 0
	case inPacket:
		if r.half < 0 {
			r.half = bit
			break
		}
		if r.half != bit {
			r.hunt(int(bit))
			break
		}
		r.half = -1
		return r.bit(byte(bit))
	}
	return nil
}

// bit takes a bit of a packet.
func (r *recogniser) bit(bit byte) []byte {
	if r.count < 8 {
		r.shift = r.shift<<1 | bit
		r.count++
		return nil
	}
	if r.n == len(r.bytes) {
		r.hunt(0) // longer than any rule
		return nil
	}
	r.bytes[r.n] = r.shift
	r.n++
	r.count = 0
	if bit == 0 {
		return nil
	}
	n := r.n
	r.hunt(2) // the end bit may be one of the next preamble (S-9.2 footnote 3, July 2004)
	return r.bytes[:n]
}

func (r *recogniser) hunt(ones int) { r.state, r.ones, r.half, r.n = hunting, ones, -1, 0 }
