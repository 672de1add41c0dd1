package dcc

// BroadcastStop stops every locomotive: 00000000 01DC000S (S-9.2 B, July 2004; NEM 671 (2014), page 5, has the same).
// Immediate, S = 1, takes the power off the motors; otherwise each decoder stops with its own deceleration.
type BroadcastStop struct {
	Direction        Direction
	Immediate        bool
	DirectionIgnored bool // C = 1: decoders may ignore Direction
}

// Packet encodes the instruction.
func (i BroadcastStop) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i BroadcastStop) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, Broadcast, b, err)
}

func (i BroadcastStop) recipient() Address { return Broadcast }

func (i BroadcastStop) body() (body, error) {
	if err := i.Direction.check(); err != nil {
		return body{}, err
	}
	code, err := code28(0, i.Immediate, i.DirectionIgnored)
	return body1(0x40 | byte(i.Direction)<<5 | code), err
}

func (i BroadcastStop) String() string {
	return Broadcast.loco() + speedText(Steps28, 0, i.Direction, i.Immediate, i.DirectionIgnored)
}
