package signal

import (
	"slices"
	"time"

	"bufferstop/harness/dcc"
)

// A Packet is one packet as it was on the track.
type Packet struct {
	// Start is the beginning of the first one of the preamble, StartBit that of the packet start bit, and End the end of
	// the packet end bit.
	Start, StartBit, End time.Duration
	// Preamble counts the complete ones before the start bit, without the end bit of the packet before.
	Preamble int
	// AfterEndBit tells that the preamble followed the end bit of the packet before without a break. That end bit may then
	// be counted as one more preamble bit (S-9.2 footnote 3, July 2004).
	AfterEndBit bool
	// PreambleSeen tells that the whole of the preamble was seen: it began at an end bit, or with the first half-bit after an
	// off state. Otherwise it may have been longer.
	PreambleSeen bool
	// Bytes are the bytes of the packet, error byte included. They are valid only until the sink returns; see Clone.
	Bytes dcc.Packet
	// Fault says what is wrong with the bytes.
	Fault Fault
}

// Clone returns a copy whose bytes stay valid.
func (p *Packet) Clone() Packet {
	c := *p
	c.Bytes = slices.Clone(p.Bytes)
	return c
}

// Fault says what is wrong with a packet whose framing is right.
type Fault uint8

// The faults of a packet. A wrong length comes before a wrong error byte.
const (
	None         Fault = iota
	BadErrorByte       // the exclusive or of all bytes is not zero (S-9.2 B, July 2004)
	TooShort           // fewer than three bytes (S-9.2.1, July 2012)
	TooLong            // more than six bytes (S-9.2.1, July 2012)
)

// String names the fault as reports print it.
func (f Fault) String() string {
	switch f {
	case None:
		return "none"
	case BadErrorByte:
		return "bad error byte"
	case TooShort:
		return "too short"
	case TooLong:
		return "too long"
	}
	return "unknown fault"
}

// A Sink is told what a Receiver found, in the order in which it was decided. It must not feed the receiver that calls it.
type Sink interface {
	// Packet is called at the edge that completes the packet's end bit. p is valid only during the call.
	Packet(p *Packet)
	// Unusable is called when an unusable stretch has ended.
	Unusable(u Unusable)
}

// faultOf judges the bytes of a packet.
func faultOf(bytes []byte) Fault {
	switch {
	case len(bytes) < dcc.MinPacketBytes:
		return TooShort
	case len(bytes) > dcc.MaxPacketBytes:
		return TooLong
	}
	var sum byte
	for _, b := range bytes {
		sum ^= b
	}
	if sum != 0 {
		return BadErrorByte
	}
	return None
}
