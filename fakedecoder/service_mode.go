package fakedecoder

import "time"

// mode is which kind of packets the decoder obeys.
type mode uint8

const (
	operationsMode mode = iota
	serviceMode
	// betweenModes: service mode has ended, and no operations packet has come yet.
	betweenModes
)

// serviceTimeout is how long service mode lasts after the last valid reset or service-mode packet (S-9.2.3 C, July
// 2012). Read to the letter: from the end of one packet to the end of the next. The same time ends the effect of a reset
// packet, since after it a station may speak to locomotives 112 to 127 again (S-9.2 B, July 2004).
const serviceTimeout = 20 * time.Millisecond

// service is what the decoder remembers in service mode.
type service struct {
	last       time.Duration // end of the last reset or service-mode packet
	afterReset bool          // the last valid packet was a reset packet
	page       byte          // the page register; 0 means 256
	// The unbroken run of identical packets, and how many there were.
	packet [4]byte
	length int
	run    int
}

// hear takes a valid packet.
func (d *Decoder) hear(b []byte, end time.Duration) {
	afterReset := d.service.afterReset
	d.service.afterReset = false
	if d.mode == operationsMode && !afterReset && b[0] != 0 {
		d.operate(b, end) // by far the most packets: nothing of service mode is near
		return
	}
	d.settle(end)
	recent := end-d.service.last <= serviceTimeout
	if b[0] == 0 && b[1] == 0 && len(b) == 3 {
		d.hearReset(b, end, recent)
		return
	}
	toService := d.isService(b)
	switch {
	case d.mode == serviceMode && recent:
		if toService {
			d.serve(b, end)
			return
		}
		// Any other valid packet ends service mode without being acted upon (S-9.2.3 C).
		d.mode = betweenModes
	case toService && afterReset && recent:
		// All loads are off (S-9.2.3 B): the reset packet just before has seen to that.
		d.mode, d.service.run = serviceMode, 0
		d.serve(b, end)
	case d.mode != operationsMode && toService:
		d.mode = betweenModes // back to operations only with a packet that is not a service packet (S-9.2.3 C)
	default:
		d.mode = operationsMode
		d.operate(b, end)
	}
}

// hearReset takes a digital decoder reset packet: it clears the volatile state, opens the way into service mode, and
// keeps service mode alive.
func (d *Decoder) hearReset(b []byte, end time.Duration, recent bool) {
	switch {
	case d.mode == serviceMode && recent:
		d.service.run = 0 // a valid packet between two service packets breaks the pair (S-9.2.3 E)
		d.reset()
	case d.mode == operationsMode:
		d.operate(b, end)
	default:
		d.mode = betweenModes
		d.reset()
	}
	d.service.afterReset = true
	d.service.last = end
}

// isService reports whether a packet has the form of a service-mode packet: first byte 0111xxxx, and three bytes
// (address-only, register and paged) or four (direct). An address query counts only in service mode.
func (d *Decoder) isService(b []byte) bool {
	if b[0]>>4 == 7 {
		return len(b) <= 4
	}
	return isAddressQuery(b) && d.mode == serviceMode
}

// serve takes a packet in service mode.
func (d *Decoder) serve(b []byte, end time.Duration) {
	s := &d.service
	s.last = end
	d.counters.Service++
	if s.run > 0 && string(s.packet[:s.length]) == string(b) {
		s.run++
	} else {
		s.length = copy(s.packet[:], b)
		s.run = 1
	}
	// The second of two identical packets is the one that counts (S-9.2.3 E, July 2012).
	if s.run%2 != 0 || s.run/2-1 > d.config.Acknowledge.Repeat || d.cvs.busy() {
		return
	}
	var answer time.Duration
	var ok bool
	switch {
	case len(b) == 4:
		answer, ok = d.direct(b, end)
	case isAddressQuery(b):
		answer, ok = end, b[0] == d.cvs.values[cvPrimaryAddress]
	default:
		answer, ok = d.register(b, end)
	}
	if ok {
		d.acknowledge(answer)
	}
}

// isAddressQuery recognises AAAAAAAA 11111001 for addresses 1 to 111 (S-9.2.3 appendix A, July 2012).
func isAddressQuery(b []byte) bool {
	return len(b) == 3 && b[1] == 0xf9 && b[0] >= 1 && b[0] <= 111
}

// access verifies or writes a whole CV for any service-mode method. It returns when storage has ended and whether to
// acknowledge.
func (d *Decoder) access(cv int, value byte, write bool, end time.Duration) (time.Duration, bool) {
	if !write {
		return end, d.verifyCV(cv, value)
	}
	var done time.Duration
	var ok bool
	if cv == cvManufacturer && value == factoryReset {
		done, ok = d.resetToFactory(end)
	} else {
		done, ok = d.writeCV(cv, value, end)
	}
	return done, ok && !d.config.NoWriteAcknowledge
}
