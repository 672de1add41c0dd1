package dcc

import (
	"strconv"
	"time"
)

// ServiceModeTimeout is the time after the last valid reset or service-mode packet at which a decoder leaves service
// mode (S-9.2.3 C, July 2012).
const ServiceModeTimeout = 20 * time.Millisecond

// A Mode is how decoders on a track take the packets that they hear.
type Mode uint8

// The modes.
const (
	Operations Mode = iota // packets run trains
	Service                // packets with the first byte 112..127 access CVs
	// Between is after service mode was left by waiting: a decoder does not go back to operations mode before it hears
	// a packet that cannot be one of service mode (S-9.2.3 C).
	Between
)

func (m Mode) String() string {
	switch m {
	case Operations:
		return "operations mode"
	case Service:
		return "service mode"
	case Between:
		return "between service mode and operations mode"
	}
	return "mode " + strconv.Itoa(int(m))
}

// A Listener follows the packets of one track and tells what each means to the decoders there, by the rules of S-9.2.3 C
// (July 2012): a service-mode packet right after a reset turns service mode on; another valid packet, or 20 ms without
// reset and service-mode packet, turns it off. The zero value is in operations mode.
//
// It gives a packet the benefit of the doubt: one that has begun within the 20 ms counts as in time. It reads what a
// station sends; a decoder that counts to the end of the packet is stricter.
type Listener struct {
	mode  Mode
	last  time.Duration // end of the last valid reset or service-mode packet
	armed bool          // the last valid packet was a reset
}

// Hear takes the next packet, with the start of its preamble and the end of its end bit, and tells what it means. A
// packet that is not valid changes nothing, since decoders ignore it. The packet is not kept.
func (l *Listener) Hear(p Packet, start, end time.Duration) Instruction {
	if !p.Valid() {
		return Decode(p)
	}
	if start-l.last >= ServiceModeTimeout {
		l.armed = false
		if l.mode == Service {
			l.mode = Between
		}
	}
	switch {
	case p.IsReset():
		l.armed, l.last = true, end
		return Decode(p)
	case p.IsService() && (l.armed || l.mode == Service):
		l.mode, l.armed, l.last = Service, false, end
		return DecodeService(p)
	case p.IsService() && l.mode == Between:
		l.armed = false
		return DecodeService(p)
	}
	l.mode, l.armed = Operations, false
	return Decode(p)
}

// Mode is the mode after the last packet heard.
func (l *Listener) Mode() Mode { return l.mode }

// ModeAt is the mode at a time after the last packet heard, if nothing more is heard until then.
func (l *Listener) ModeAt(t time.Duration) Mode {
	if l.mode == Service && t-l.last >= ServiceModeTimeout {
		return Between
	}
	return l.mode
}

// PowerOff tells that the track had no power, after which decoders start in operations mode (RP-9.2.4 A).
func (l *Listener) PowerOff() { *l = Listener{} }
