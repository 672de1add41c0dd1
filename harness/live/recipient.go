package live

import (
	"time"

	"bufferstop/harness/dcc"
)

// RefreshWithin is how long the same packet to the same recipient counts as a repetition: a station comes round to every
// locomotive more often than that. Common practice, no source.
const RefreshWithin = 2 * time.Second

// A Recipient is the part of a decoder that a packet speaks to: its first bytes, with those bits masked out that carry
// the news.
type Recipient [3]byte

// RecipientOf tells packets apart that are about different things. Address and kind of the instruction are taken
// (S-9.2.1 C and D, July 2012); the values that it sets are not. The packet is a valid one.
func RecipientOf(p dcc.Packet) Recipient {
	switch dcc.PartitionOf(p[0]) {
	case dcc.ShortPartition, dcc.BroadcastPartition:
		return Recipient{p[0], 0, kind(p[1])}
	case dcc.LongPartition:
		return Recipient{p[0], p[1], kind(p[2])}
	case dcc.AccessoryPartition:
		return Recipient{p[0], p[1] & 0xf6, 0} // not the activation and not which output of the pair
	}
	return Recipient{p[0], 0, 0}
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
