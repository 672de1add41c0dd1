package dcc

import (
	"bytes"
	"encoding/hex"
	"time"
)

// The length of a packet in bytes, the error byte included: S-9.2.1, introduction (July 2012). Longer packets exist only
// in the partitions of the first bytes 253 and 254 (S-9.2.1.1, draft of November 2021, 1.1).
const (
	MinPacketBytes = 3
	MaxPacketBytes = 6
)

// A Packet is the bytes of a packet as they stand on the track, address first and error byte last, without preamble,
// start bits and end bit. A Packet can hold anything that was received; Valid tells whether a decoder may act on it.
type Packet []byte

// Seal returns the body, an address and what it is told, with its error byte behind it (S-9.2 B, July 2004).
func Seal(body ...byte) Packet {
	p := make(Packet, 0, len(body)+1)
	return appendSealed(p, body...)
}

// appendSealed appends the body and the exclusive or over it.
func appendSealed(dst []byte, body ...byte) []byte {
	return append(append(dst, body...), xor(body))
}

func xor(bytes []byte) byte {
	var sum byte
	for _, b := range bytes {
		sum ^= b
	}
	return sum
}

// Valid reports whether the packet has at least three bytes and the exclusive or over all of them is zero, which is the
// check that every decoder makes (S-9.2 B, July 2004). It does not look at the greatest length.
func (p Packet) Valid() bool { return len(p) >= MinPacketBytes && xor(p) == 0 }

// String gives the bytes in lower-case hexadecimal without spaces, such as 026062.
func (p Packet) String() string { return hex.EncodeToString(p) }

// Equal reports whether both packets are the same bytes.
func (p Packet) Equal(q Packet) bool { return bytes.Equal(p, q) }

// IsReset reports whether the packet is the digital decoder reset packet for all decoders, 00 00 00 (S-9.2 B).
func (p Packet) IsReset() bool { return len(p) == 3 && p[0] == 0 && p[1] == 0 && p[2] == 0 }

// IsIdle reports whether the packet is the idle packet, ff 00 ff (S-9.2 B).
func (p Packet) IsIdle() bool { return len(p) == 3 && p[0] == 0xff && p[1] == 0 && p[2] == 0xff }

// IsService reports whether the packet is one that a decoder in service mode takes as an order: valid, first byte
// 112..127, and three or four bytes long (S-9.2.3 E, July 2012). The same bytes are a packet to the short address
// 112..127 while the decoder is in operations mode; a Listener knows which.
func (p Packet) IsService() bool {
	return (len(p) == 3 || len(p) == 4) && p[0] >= 112 && p[0] <= 127 && p.Valid()
}

// Partition says to which kind of decoder the packet speaks; Reserved for an empty one.
func (p Packet) Partition() Partition {
	if len(p) == 0 {
		return Reserved
	}
	return PartitionOf(p[0])
}

// Address returns the address of the locomotive decoder to which the packet speaks, Broadcast for all of them. It is
// false for packets to accessory decoders, for idle packets, for reserved ones and for packets that are cut short. It
// does not check the error byte, and allocates nothing.
func (p Packet) Address() (Address, bool) {
	a, _, ok := p.split()
	return a, ok
}

// split parts a packet to a locomotive decoder into its address and the bytes between address and error byte.
func (p Packet) split() (Address, []byte, bool) {
	switch p.Partition() {
	case BroadcastPartition, ShortPartition:
		if len(p) >= 3 {
			return Short(uint16(p[0])), p[1 : len(p)-1], true
		}
	case LongPartition:
		if len(p) >= 3 {
			return Long(uint16(p[0]&0x3f)<<8 | uint16(p[1])), p[2 : len(p)-1], true
		}
	}
	return Address{}, nil, false
}

// AccessoryAddress returns the raw 11-bit address, 0..2047, of the accessory to which the packet speaks: the decoder's
// nine bits and behind them the two that choose one of its four pairs (S-9.2.1 D). It is false for all other packets,
// does not check the error byte, and allocates nothing.
func (p Packet) AccessoryAddress() (uint16, bool) {
	if p.Partition() != AccessoryPartition || len(p) < 3 {
		return 0, false
	}
	return accessoryRaw(p[0], p[1]), true
}

// Bits counts the bits on the track from the first preamble bit to the end bit.
func (p Packet) Bits(preamble int) int { return preamble + 9*len(p) + 1 }

// Duration is how long the packet takes from the start of its preamble to the end of its end bit, when every half of a
// one takes oneHalf and every half of a zero zeroHalf.
func (p Packet) Duration(preamble int, oneHalf, zeroHalf time.Duration) time.Duration {
	ones := preamble + 1
	for _, b := range p {
		for ; b != 0; b &= b - 1 {
			ones++
		}
	}
	zeros := p.Bits(preamble) - ones
	return 2 * (time.Duration(ones)*oneHalf + time.Duration(zeros)*zeroHalf)
}
