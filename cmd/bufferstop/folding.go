package main

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
)

// refreshWithin is how long the same packet to the same recipient counts as a repetition: a station comes round to every
// locomotive more often than that. Common practice, no source.
const refreshWithin = 2 * time.Second

// A folding knows what everybody was last told. A station says everything many times; what it says for the first time, or
// again after a pause, is news. Its memory is bounded by the number of recipients that there can be.
type folding struct {
	told   map[recipient]saying
	folded int64
}

// A recipient is the part of a decoder that a packet speaks to: its first bytes, with those bits masked out that carry
// the news.
type recipient [3]byte

type saying struct {
	bytes  [dcc.MaxPacketBytes]byte
	length int
	at     time.Duration
}

// repeats reports whether the packet only says again what its recipient was told last. Without folding nothing does.
func (f *folding) repeats(p *signal.Packet) bool {
	if f == nil {
		return false
	}
	who := recipientOf(p.Bytes)
	now := saying{length: len(p.Bytes), at: p.Start}
	copy(now.bytes[:], p.Bytes)
	last, known := f.told[who]
	f.told[who] = now
	if !known || last.bytes != now.bytes || last.length != now.length || now.at-last.at > refreshWithin {
		return false
	}
	f.folded++
	return true
}

func (f *folding) count() int64 {
	if f == nil {
		return 0
	}
	return f.folded
}

// recipientOf tells packets apart that are about different things. Address and kind of the instruction are taken
// (S-9.2.1 C and D, July 2012); the values that it sets are not.
func recipientOf(p dcc.Packet) recipient {
	switch dcc.PartitionOf(p[0]) {
	case dcc.ShortPartition, dcc.BroadcastPartition:
		return recipient{p[0], 0, kind(p[1])}
	case dcc.LongPartition:
		return recipient{p[0], p[1], kind(p[2])}
	case dcc.AccessoryPartition:
		return recipient{p[0], p[1] & 0xf6, 0} // not the activation and not which output of the pair
	}
	return recipient{p[0], 0, 0}
}

// kind is what an instruction byte is about: the three bits CCC, and the lower ones where they choose among groups.
func kind(instruction byte) byte {
	switch instruction >> 5 {
	case 0b010, 0b011, 0b100: // speed, direction; F0 to F4: the rest is data
		return instruction & 0xe0
	case 0b101: // F5 to F8 or F9 to F12: one more bit chooses
		return instruction & 0xf0
	}
	return instruction
}
