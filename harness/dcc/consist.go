package dcc

import "strconv"

// Consist puts a locomotive into a consist, or with Consist 0 takes it out: 0001001R 0AAAAAAA, which writes CV19
// (S-9.2.1 C, July 2012).
type Consist struct {
	Address  Address
	Consist  int  // the consist's address 1..127; 0 = none
	Reversed bool // the locomotive stands in the consist with its rear ahead
}

// Packet encodes the instruction.
func (i Consist) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i Consist) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i Consist) recipient() Address { return i.Address }

func (i Consist) body() (body, error) {
	err := checkRange("consist address", i.Consist, 0, 127)
	return body2(0x12|flag(i.Reversed, 1), byte(i.Consist)), err
}

func (i Consist) String() string {
	text := i.Address.loco() + "consist " + strconv.Itoa(i.Consist)
	if i.Consist == 0 {
		text = i.Address.loco() + "out of its consist"
	}
	if i.Reversed {
		text += ", reversed"
	}
	return text
}
