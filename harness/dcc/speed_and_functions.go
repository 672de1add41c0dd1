package dcc

import "strconv"

// SpeedAndFunctions sets speed, direction and the first functions of a locomotive in one packet:
// 00111100 DSSSSSSS and a byte each for F0-F7 and F8-F15, F0 in bit 0 (RCN-212, from memory).
type SpeedAndFunctions struct {
	Address   Address
	Direction Direction
	Step      int // 0..126 of 128 steps
	Emergency bool
	Last      int    // the highest function set, 7 or 15 (15 only with a short address: six bytes are all there is)
	States    uint16 // bit n is Fn
}

// Packet encodes the instruction.
func (i SpeedAndFunctions) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i SpeedAndFunctions) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i SpeedAndFunctions) recipient() Address { return i.Address }

func (i SpeedAndFunctions) body() (body, error) {
	if err := i.Direction.check(); err != nil {
		return body{}, err
	}
	code, err := code128(i.Step, i.Emergency, false)
	if err != nil {
		return body{}, err
	}
	code |= byte(i.Direction) << 7
	switch i.Last {
	case 7:
		return body3(0x3c, code, byte(i.States)), checkRange("function states", int(i.States), 0, 0xff)
	case 15:
		return body4(0x3c, code, byte(i.States), byte(i.States>>8)), nil
	}
	return body{}, &ConflictError{"speed and functions", "functions up to F" + strconv.Itoa(i.Last), "F7 or F15"}
}

func (i SpeedAndFunctions) String() string {
	return i.Address.loco() + speedText(Steps128, i.Step, i.Direction, i.Emergency, false) + ", " +
		functionStates(0, min(i.Last, 15), uint32(i.States))
}
