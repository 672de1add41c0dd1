package signal

import "time"

// addresses remembers when the last packet to each address ended, in a table with a place for every address that a packet
// can name: its size does not depend on the traffic.
type addresses [longAddresses + 64*256]time.Duration

// The places in the table. The partitions of the first byte are those of S-9.2.1 A (July 2012).
const (
	shortAddresses    = 0
	basicAccessories  = shortAddresses + 128     // 9-bit addresses
	extendedAccessory = basicAccessories + 512   // 11-bit addresses
	longAddresses     = extendedAccessory + 2048 // 14-bit addresses
	noAddress         = -1
)

// never marks an address that has had no packet.
const never time.Duration = -1 << 63

func newAddresses() *addresses {
	a := new(addresses)
	a.forget()
	return a
}

func (a *addresses) forget() {
	for i := range a {
		a[i] = never
	}
}

// addressPlace is the place of the address of a good packet, or noAddress for packets to all and to nobody.
func addressPlace(bytes []byte) int {
	first, second := int(bytes[0]), int(bytes[1])
	switch {
	case first == 0 || first >= 232: // broadcast; reserved, advanced and idle
		return noAddress
	case first < 128:
		return shortAddresses + first
	case first >= 192:
		return longAddresses + (first-192)<<8 + second
	}
	// S-9.2.1 D: the three high bits of an accessory address are in the second byte, in ones' complement.
	decoder := first&63 | (^second>>4&7)<<6
	switch {
	case decoder == 511: // broadcast to all accessory decoders
		return noAddress
	case second&0x80 != 0:
		return basicAccessories + decoder
	}
	return extendedAccessory + decoder<<2 + second>>1&3
}
