package dcc

import "strconv"

// The limits of addresses.
const (
	MaxShort = 127   // 7-bit address: S-9.2.1 A (July 2012)
	MaxLong  = 10239 // 14-bit address, first byte 192..231: S-9.2.1 A and C, range of CV17 in S-9.2.2 (July 2012)
)

// An Address names a locomotive decoder. Short 3 and long 3 are two different decoders. The zero value is Broadcast.
type Address struct {
	Number uint16 // 0..127 when short, 0 being Broadcast; 0..10239 when long
	Long   bool
}

// Broadcast is the address that every locomotive decoder listens to (S-9.2.1 B).
var Broadcast = Address{}

// Short is the 7-bit address n, 1..127. Decoders in service mode take 112..127 for orders to them (S-9.2.3 C).
func Short(n uint16) Address { return Address{Number: n} }

// Long is the 14-bit address n, 0..10239.
func Long(n uint16) Address { return Address{Number: n, Long: true} }

// Check returns a *RangeError when there is no such address.
func (a Address) Check() error {
	if a.Long {
		return checkRange("long address", int(a.Number), 0, MaxLong)
	}
	return checkRange("short address", int(a.Number), 0, MaxShort)
}

// String names the address as the trade writes it: 3, long 1000, all.
func (a Address) String() string {
	switch {
	case a.Long:
		return "long " + strconv.Itoa(int(a.Number))
	case a.Number == 0:
		return "all"
	}
	return strconv.Itoa(int(a.Number))
}

// loco starts the meaning of an instruction.
func (a Address) loco() string {
	if a == Broadcast {
		return "all locos: "
	}
	return "loco " + a.String() + ": "
}

// append appends the address bytes of a packet: 0AAAAAAA, or 11AAAAAA AAAAAAAA with the most significant bit first
// (S-9.2.1 C).
func (a Address) append(dst []byte) []byte {
	if a.Long {
		return append(dst, 0xc0|byte(a.Number>>8), byte(a.Number))
	}
	return append(dst, byte(a.Number))
}
