package audit_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/station"
)

// This is any station that the standards allow, drawn at random: bit times anywhere inside their limits less U, packets in any order, of
// all kinds, with what else is legal. It shares nothing with the simulated station and nothing with the codec: bytes are written as the
// tables of S-9.2, S-9.2.1 and S-9.2.3 have them.

const us = time.Microsecond

// u is the expanded uncertainty that the stations are judged with, as of an analyser of 1 MHz. What is legal keeps it from each limit.
const u = 820 * time.Nanosecond

// An anyStation makes edges.
type anyStation struct {
	*rand.Rand
	track    station.Track
	cutout   bool
	editions map[string]string

	one, zero [2]time.Duration // halves
	jitter    time.Duration    // each edge is off by up to half of this, either way
	preamble  int
	stretch   bool
	// stretchable is how long half a zero of this packet may still be. Both together may take 12 000 µs, S-9.1 A (2020), and a packet has to
	// start every 30 ms, S-9.2 C (July 2004), so long packets have less.
	stretchable time.Duration

	now   time.Duration
	level signal.Level
	edges []signal.Edge
	// What the standards want a station to remember.
	last       map[int]time.Duration // end of the last packet, by decoder
	reset      time.Duration         // end of the last reset to all
	sinceReset int                   // packets since the last reset of a decoder
	start      time.Duration         // of the last start bit
	packets    int
	// violate, if set, is asked to break one thing; it says whether it did.
	halves func(half time.Duration, bit, index int) time.Duration
}

const longAgo = -time.Hour

func newAnyStation(r *rand.Rand) *anyStation {
	s := &anyStation{Rand: r, track: station.Main, level: signal.Positive, last: map[int]time.Duration{}, reset: longAgo, sinceReset: 1000,
		editions: map[string]string{}}
	if r.IntN(4) == 0 {
		s.track = station.Programming
	}
	if r.IntN(2) == 0 {
		s.level = signal.Negative
	}
	s.cutout = s.track == station.Main && r.IntN(3) == 0
	for _, topic := range slices.Sorted(maps.Keys(topicsOfTest)) { // in an order, so that a seed gives the same station each time
		if r.IntN(2) == 0 {
			s.editions[topic] = topicsOfTest[topic][r.IntN(2)]
		}
	}
	// A half of a one is 55 to 61 µs and differs from the other by 3 at most: S-9.1 A, Table 1 (2020). √3·u is that of a difference.
	s.jitter = s.upTo(600 * time.Nanosecond)
	spread := 2 * s.jitter
	room := 3*us - 1500*time.Nanosecond - spread
	first := s.between(55*us+u+s.jitter, 61*us-u-s.jitter)
	s.one = [2]time.Duration{first, min(max(first+s.between(-room, room), 55*us+u+s.jitter), 61*us-u-s.jitter)}
	lowest := 95*us + u + s.jitter
	s.zero = [2]time.Duration{s.between(lowest, 130*us), s.between(lowest, 130*us)}
	s.preamble = 14 + r.IntN(12)
	s.stretch = r.IntN(3) == 0
	s.level = -s.level
	s.reverse(0)
	return s
}

// topicsOfTest are the editions that a station may keep to, the newest last.
var topicsOfTest = map[string][2]string{
	"first bytes": {"S-9.2.1 (2012)", "S-9.2.1.1 (draft 2021)"},
	"aspects":     {"S-9.2.1 (2012)", "RCN-213 (2015)"},
	"functions":   {"S-9.2.1 (2012)", "RCN-212"},
}

// old reports whether the station keeps to the older edition.
func (s *anyStation) old(topic string) bool { return s.editions[topic] == topicsOfTest[topic][0] }

func (s *anyStation) upTo(d time.Duration) time.Duration {
	return time.Duration(s.Int64N(int64(d) + 1))
}
func (s *anyStation) between(a, b time.Duration) time.Duration {
	return a + s.upTo(b-a)
}

// reverse makes the edge that ends a half-bit.
func (s *anyStation) reverse(half time.Duration) {
	s.now += half
	s.level = -s.level
	at := s.now
	if half > 0 && s.jitter > 0 {
		at += s.upTo(s.jitter) - s.jitter/2
	}
	s.edges = append(s.edges, signal.Edge{Time: at, Level: s.level})
}

// bit sends one; index counts the bits of a packet from its start bit, or is negative for ones before it.
func (s *anyStation) bit(bit, index int) {
	halves := s.one
	if bit == 0 {
		halves = s.zero
		if s.stretch && s.stretchable > 0 && s.IntN(20) == 0 {
			halves[s.IntN(2)] = s.between(150*us, s.stretchable-u-s.jitter)
			s.stretchable = 0
		}
	}
	for i, half := range halves {
		if s.halves != nil {
			half = s.halves(half, bit, 2*index+i)
		}
		s.reverse(half)
	}
}

// ones sends some.
func (s *anyStation) ones(n int) {
	for range n {
		s.bit(1, -1)
	}
}

// sum appends the error byte: exclusive or.
func sum(bytes ...byte) []byte {
	x := byte(0)
	for _, b := range bytes {
		x ^= b
	}
	return append(bytes, x)
}

// raw sends a packet as it is: preamble, start bit, bytes, end bit. It keeps the books.
func (s *anyStation) raw(preamble int, bytes []byte) {
	s.stretchable = 9900 * us
	if len(bytes) > 3 {
		s.stretchable = 5000 * us
	}
	s.ones(preamble)
	s.start = s.now
	index := 0
	for _, b := range bytes {
		s.bit(0, index)
		index++
		for i := 7; i >= 0; i-- {
			s.bit(int(b>>i&1), index)
			index++
		}
	}
	s.bit(1, index)
	s.packets++
	s.sinceReset++
	if d, ok := decoderOf(bytes); ok {
		s.last[d] = s.now
	}
	if len(bytes) == 3 && bytes[0] == 0 && bytes[1] == 0 {
		s.reset = s.now
	}
	if mobile := bytes[0] < 128 || bytes[0] >= 192 && bytes[0] < 232; mobile && bytes[len(bytes)-2] == 0 &&
		(bytes[0] < 128 && len(bytes) == 3 || bytes[0] >= 192 && len(bytes) == 4) {
		s.sinceReset = 0
	}
	if s.cutout {
		s.gapFor(s.between(27*us+s.jitter, 31*us), s.between(456*us, 486*us))
	}
}

// gapFor takes the voltage away between two times from now; the signal goes on until then.
func (s *anyStation) gapFor(from, to time.Duration) {
	end := s.now
	for i := 0; end+from > s.now+s.one[i]; i = 1 - i {
		s.reverse(s.one[i])
	}
	s.edges = append(s.edges, signal.Edge{Time: end + from, Level: signal.Off})
	s.now = end + to
	s.level = -s.level
	s.edges = append(s.edges, signal.Edge{Time: s.now, Level: s.level})
}

// decoderOf numbers the decoder to which a packet speaks: 7-bit and 14-bit addresses and accessory decoders, S-9.2.1 A.
func decoderOf(b []byte) (int, bool) {
	switch {
	case b[0] >= 1 && b[0] < 128:
		return int(b[0]), true
	case b[0] >= 128 && b[0] < 192:
		d := int(b[0]&63) | int(^b[1]>>4&7)<<6
		return 1000 + d, d != 511
	case b[0] >= 192 && b[0] < 232:
		return 10000 + int(b[0])<<8 + int(b[1]), true
	}
	return 0, false
}

// may reports whether a packet may be sent now by the rules on what follows what, and with the start bit when.
func (s *anyStation) may(bytes []byte, preamble int) bool {
	startBit := s.now + time.Duration(preamble)*(s.one[0]+s.one[1])
	if d, ok := decoderOf(bytes); ok {
		if end, had := s.last[d]; had && startBit-end < 5*time.Millisecond+2*us && !s.serviceMode(bytes) {
			return false
		}
	}
	if !s.serviceMode(bytes) && bytes[0] >= 100 && bytes[0] <= 127 && startBit-s.reset < 20*time.Millisecond+2*us {
		return false
	}
	return s.serviceMode(bytes) || bytes[0] < 112 || bytes[0] > 127 || s.sinceReset >= 10
}

// serviceMode reports whether a packet is one of service mode, 0111xxxx of three or four bytes on the programming track.
func (s *anyStation) serviceMode(b []byte) bool {
	return s.track == station.Programming && b[0] >= 112 && b[0] <= 127 && len(b) <= 4
}

// legal sends a legal packet, whichever.
func (s *anyStation) legal() {
	for {
		bytes := s.packet()
		preamble := s.preamble + s.IntN(3)
		if s.may(bytes, preamble) {
			s.raw(preamble, bytes)
			return
		}
		s.raw(preamble, []byte{0xff, 0, 0xff})
	}
}

// packet draws a packet that is legal by itself.
func (s *anyStation) packet() []byte {
	any := func() byte { return byte(s.IntN(256)) }
	switch s.IntN(12) {
	case 0, 1:
		return []byte{0xff, 0, 0xff} // idle
	case 2:
		if s.track == station.Programming && s.IntN(4) == 0 { // S-9.2.3 E: ten resets or idle packets after it
			s.raw(s.preamble, []byte{0, 1, 1})
			for range 10 {
				s.raw(s.preamble, [][]byte{{0, 0, 0}, {0xff, 0, 0xff}}[s.IntN(2)])
			}
		}
		return []byte{0, 0, 0} // reset
	case 3, 4: // basic accessory 10AAAAAA 1AAACDDD
		return sum(0x80|any()&63, 0x80|any())
	case 5: // extended accessory 10AAAAAA 0AAA0AA1 XXXXXXXX
		aspect := any()
		if s.old("aspects") {
			aspect &= 31
		}
		return sum(0x80|any()&63, any()&0x76|1, aspect)
	case 6: // access to a CV of an accessory decoder: C=1, CC=01 or 11
		return sum(0x80|any()&63, 0x88|any(), 0xe4|any()&0x0b, any(), any())
	case 7:
		if s.track == station.Programming { // 0111CCAA AAAAAAAA DDDDDDDD, CC = 01, 11; 0111CRRR DDDDDDDD
			if s.IntN(2) == 0 {
				return sum(0x74|any()&0x0b, any(), any())
			}
			return sum(0x70|any()&15, any())
		}
		if !s.old("first bytes") && s.IntN(2) == 0 { // S-9.2.1.1: seven bytes and more with a CRC before the error byte
			body := []byte{253 + any()&1, any(), any(), any(), any()}
			return sum(append(body, bitwiseCRC(body))...)
		}
	}
	address := []byte{1 + byte(s.IntN(127))}
	if s.track == station.Programming { // where 112 to 127 are service mode's
		address[0] = 1 + byte(s.IntN(111))
	}
	if s.IntN(3) == 0 {
		address = []byte{192 + byte(s.IntN(40)), any()}
	}
	body := s.instruction()
	if more := s.IntN(4) == 0; more && len(body) == 1 && body[0] >= 0x40 { // speed and functions in one packet
		body = append(body, 0x80|any()&0x3f)
	}
	return sum(append(address, body...)...)
}

// instruction draws one to a locomotive decoder.
func (s *anyStation) instruction() []byte {
	any := func() byte { return byte(s.IntN(256)) }
	switch s.IntN(14) {
	case 0, 1:
		return []byte{0x40 | any()&0x3f} // 28 steps
	case 2, 3:
		return []byte{0x3f, any()} // 128 steps
	case 4, 5:
		return []byte{0x80 | any()&0x3f} // F0 to F12
	case 6:
		return []byte{0xde | any()&1, any()} // F13 to F28
	case 7:
		if !s.old("functions") {
			return []byte{0xd8 + byte(s.IntN(5)), any()} // F29 to F68
		}
		return []byte{0x80}
	case 8:
		return []byte{0xdd, any()} // binary state, short form
	case 9:
		return []byte{0xc0, any(), 1 + byte(s.IntN(255))} // long form: 128 and above
	case 10:
		return []byte{0xe4 | any()&0x0b, any(), any()} // access to a CV: CC=01, 11
	case 11:
		return []byte{0xe8 | any()&3, any(), 0xe0 | any()&31} // a bit of one
	case 12:
		return []byte{0x12 | any()&1, any() & 0x7f} // consist
	}
	return []byte{0} // reset of one decoder
}

// bitwiseCRC divides by x8+x5+x4+1 as one does by hand, bits of each byte from the lowest on.
func bitwiseCRC(bytes []byte) byte {
	var register [8]bool // x7 first
	for _, b := range bytes {
		for i := range 8 {
			in := b>>i&1 != 0
			carry := register[0] != in
			copy(register[:], register[1:])
			register[7] = carry
			if carry {
				register[7-5], register[7-4] = !register[7-5], !register[7-4]
			}
		}
	}
	var crc byte
	for i, set := range register {
		if set {
			crc |= 1 << i // x7 is the lowest bit when the lowest goes first
		}
	}
	return crc
}

// run sends n legal packets.
func (s *anyStation) run(n int) {
	for range n {
		s.legal()
	}
}

// settle lets what is remembered be over: idle packets.
func (s *anyStation) settle() {
	for range 12 {
		s.raw(s.preamble, []byte{0xff, 0, 0xff})
	}
}

func (s *anyStation) String() string {
	return fmt.Sprintf("%s track, ones %v, zeros %v, jitter %v, preamble %d, stretched %v, cutout %v, editions %v", s.track, s.one, s.zero, s.jitter,
		s.preamble, s.stretch, s.cutout, s.editions)
}
