package dcc

import "strconv"

// Volume is the one analog function with a meaning: the volume of the sound (S-9.2.1 C, July 2012).
const Volume = 1

// AnalogFunction sets an analog function to a value: 00111101 VVVVVVVV DDDDDDDD (S-9.2.1 C, July 2012). All functions
// but Volume are reserved there; they are decoded nonetheless, since their form is known.
type AnalogFunction struct {
	Address  Address
	Function byte
	Value    byte
}

// Packet encodes the instruction.
func (i AnalogFunction) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AnalogFunction) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i AnalogFunction) recipient() Address { return i.Address }

func (i AnalogFunction) body() (body, error) { return body3(0x3d, i.Function, i.Value), nil }

func (i AnalogFunction) String() string {
	name := "volume"
	if i.Function != Volume {
		name = "analog function " + strconv.Itoa(int(i.Function)) + " (reserved)"
	}
	return i.Address.loco() + name + " " + strconv.Itoa(int(i.Value))
}
