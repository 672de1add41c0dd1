package dcc

import "strconv"

// MaxBinaryState is the highest binary state (S-9.2.1 C, July 2012).
const MaxBinaryState = 32767

// BinaryState switches one binary state: 11011101 DLLLLLLL for 1..127, which always take this short form, and
// 11000000 DLLLLLLL HHHHHHHH above (S-9.2.1 C, July 2012).
type BinaryState struct {
	Address Address
	Number  int // 1..32767
	On      bool
}

// Packet encodes the instruction.
func (i BinaryState) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i BinaryState) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i BinaryState) recipient() Address { return i.Address }

func (i BinaryState) body() (body, error) {
	if err := checkRange("binary state", i.Number, 1, MaxBinaryState); err != nil {
		return body{}, err
	}
	low := flag(i.On, 0x80) | byte(i.Number&0x7f)
	if i.Number <= 127 {
		return body2(0xdd, low), nil
	}
	return body3(0xc0, low, byte(i.Number>>7)), nil
}

func (i BinaryState) String() string {
	return i.Address.loco() + "binary state " + strconv.Itoa(i.Number) + onOff(i.On)
}

// AllBinaryStates switches every binary state of a decoder: binary state 0 (S-9.2.1 C, July 2012).
type AllBinaryStates struct {
	Address Address
	On      bool
	Long    bool // 1..32767 in the long form; otherwise 1..127 in the short form
}

// Packet encodes the instruction.
func (i AllBinaryStates) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AllBinaryStates) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i AllBinaryStates) recipient() Address { return i.Address }

func (i AllBinaryStates) body() (body, error) {
	if i.Long {
		return body3(0xc0, flag(i.On, 0x80), 0), nil
	}
	return body2(0xdd, flag(i.On, 0x80)), nil
}

func (i AllBinaryStates) String() string {
	states := "binary states 1-127"
	if i.Long {
		states = "binary states 1-32767"
	}
	return i.Address.loco() + "all " + states + onOff(i.On)
}

// flag is the bit when it is set.
func flag(set bool, bit byte) byte {
	if set {
		return bit
	}
	return 0
}

func onOff(on bool) string {
	if on {
		return " on"
	}
	return " off"
}
