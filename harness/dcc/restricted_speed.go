package dcc

// RestrictedSpeed sets or lifts the fastest step that a locomotive may run at: 00111110 and a byte with the enable bit,
// zero to enable, in bit 7 and a 28-step code with its direction in bits 0 to 5 (S-9.2.1 C, July 2012).
type RestrictedSpeed struct {
	Address          Address
	Enabled          bool
	Direction        Direction
	Step             int // 0..28
	Emergency        bool
	DirectionIgnored bool
}

// Packet encodes the instruction.
func (i RestrictedSpeed) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i RestrictedSpeed) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i RestrictedSpeed) recipient() Address { return i.Address }

func (i RestrictedSpeed) body() (body, error) {
	if err := i.Direction.check(); err != nil {
		return body{}, err
	}
	code, err := code28(i.Step, i.Emergency, i.DirectionIgnored)
	code |= byte(i.Direction) << 5
	if !i.Enabled {
		code |= 0x80
	}
	return body2(0x3e, code), err
}

func (i RestrictedSpeed) String() string {
	state := "restricted speed on: "
	if !i.Enabled {
		state = "restricted speed off: "
	}
	return i.Address.loco() + state + speedText(Steps28, i.Step, i.Direction, i.Emergency, i.DirectionIgnored)
}
