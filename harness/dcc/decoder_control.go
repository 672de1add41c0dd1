package dcc

import "strconv"

// Reset puts decoders into the state after power-up: volatile memory erased, the locomotive stopped at once
// (S-9.2 B, July 2004). To Broadcast it is the packet 00 00 00 that also leads into service mode (S-9.2.3 C). Hard also
// sets CV29, CV31 and CV32 to their factory values and CV19 to 0 (S-9.2.1 C, July 2012).
type Reset struct {
	Address Address
	Hard    bool
}

// Packet encodes the instruction.
func (i Reset) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i Reset) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i Reset) recipient() Address { return i.Address }

func (i Reset) body() (body, error) { return body1(flag(i.Hard, 1)), nil }

func (i Reset) String() string {
	text := "reset"
	if i.Hard {
		text = "hard reset"
	}
	if i.Address == Broadcast {
		return text
	}
	return i.Address.loco() + text
}

// A Control is what a DecoderControl orders: the three bits CCC of 0000CCCF (S-9.2.1 C, July 2012).
type Control uint8

// The controls. CCC = 000 is Reset; 010, 100 and 110 are reserved.
const (
	FactoryTest        Control = 1 // not to be sent by a command station in normal operation
	SetFlags           Control = 3 // decoder flags
	SetLongAddress     Control = 5 // CV29 bit 5: answer to the long address
	AcknowledgeRequest Control = 7
)

func (c Control) String() string {
	switch c {
	case FactoryTest:
		return "factory test"
	case SetFlags:
		return "decoder flags"
	case SetLongAddress:
		return "long address (CV 29 bit 5)"
	case AcknowledgeRequest:
		return "acknowledge request"
	}
	return "decoder control " + strconv.Itoa(int(c))
}

// DecoderControl is the part of 0000CCCF that is not a reset (S-9.2.1 C, July 2012). SetFlags may have a byte behind it
// that says which flags, from memory.
type DecoderControl struct {
	Address Address
	Control Control
	On      bool // the bit F
	HasData bool // SetFlags only
	Data    byte // the byte behind it, when HasData
}

// Packet encodes the instruction.
func (i DecoderControl) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i DecoderControl) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i DecoderControl) recipient() Address { return i.Address }

func (i DecoderControl) body() (body, error) {
	switch i.Control {
	case FactoryTest, SetFlags, SetLongAddress, AcknowledgeRequest:
	default:
		return body{}, &ConflictError{"decoder control", "control " + strconv.Itoa(int(i.Control)), "1, 3, 5 or 7"}
	}
	code := byte(i.Control)<<1 | flag(i.On, 1)
	switch {
	case i.HasData && i.Control == SetFlags:
		return body2(code, i.Data), nil
	case i.HasData || i.Data != 0:
		return body{}, &ConflictError{"decoder control", "a byte behind " + i.Control.String(), "none"}
	}
	return body1(code), nil
}

func (i DecoderControl) String() string {
	text := i.Address.loco() + i.Control.String() + onOff(i.On)
	if i.HasData {
		text += ", data " + strconv.Itoa(int(i.Data))
	}
	return text
}
