package dcc

import (
	"strconv"
	"strings"
)

// Combined is several instructions to one locomotive decoder in one packet. There is room for them up to six bytes, and
// at most one may access a CV, one be an advanced operation and one a control or consist instruction, an acknowledge
// request not counted (S-9.2.1 C, July 2012).
type Combined struct {
	Address      Address
	Instructions []Instruction // two or more, each to Address
}

// Packet encodes the instruction.
func (i Combined) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i Combined) AppendPacket(dst []byte) ([]byte, error) {
	var all body
	var seen onlyOnce
	if len(i.Instructions) < 2 {
		return dst, &ConflictError{"combined packet", strconv.Itoa(len(i.Instructions)) + " instructions", "two or more"}
	}
	for _, part := range i.Instructions {
		m, ok := part.(mobile)
		if !ok || !combinable(part) {
			return dst, &ConflictError{"combined packet", part.String(), "an instruction that can stand beside others"}
		}
		if m.recipient() != i.Address {
			return dst, &ConflictError{"combined packet", part.String(), "an instruction to the address " + i.Address.String()}
		}
		b, err := m.body()
		if err != nil {
			return dst, err
		}
		if twice := seen.add(b.bytes[0]); twice != "" {
			return dst, &ConflictError{"combined packet", "two instructions of the kind " + twice, "one"}
		}
		if n := all.n + b.n; n > len(all.bytes) {
			return dst, &RangeError{What: "instruction bytes", Got: n, Min: 1, Max: len(all.bytes)}
		}
		all.n += copy(all.bytes[all.n:], b.bytes[:b.n])
	}
	return appendMobile(dst, i.Address, all, nil)
}

// combinable reports whether the instruction can stand beside others: those whose length only the end of the packet
// tells cannot.
func combinable(i Instruction) bool {
	switch i := i.(type) {
	case SpeedAndFunctions, AddressQuery, DecoderLock:
		return false
	case DecoderControl:
		return i.Control != SetFlags
	}
	return true
}

func (i Combined) String() string {
	parts := make([]string, len(i.Instructions))
	for n, part := range i.Instructions {
		parts[n] = strings.TrimPrefix(part.String(), i.Address.loco())
	}
	return i.Address.loco() + strings.Join(parts, " + ")
}

// onlyOnce remembers the kinds of instruction of which a packet may hold one.
type onlyOnce struct{ control, advanced, access bool }

// add names the kind that the instruction beginning with this byte would bring in a second time.
func (o *onlyOnce) add(first byte) string {
	var had *bool
	var kind string
	switch first >> 5 {
	case 0:
		if first == 0x0f { // the acknowledge request does not count
			return ""
		}
		had, kind = &o.control, "control or consist"
	case 1:
		had, kind = &o.advanced, "advanced operation"
	case 7:
		had, kind = &o.access, "CV access"
	default:
		return ""
	}
	if *had {
		return kind
	}
	*had = true
	return ""
}
