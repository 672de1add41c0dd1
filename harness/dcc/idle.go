package dcc

// Idle is ff 00 ff: decoders do nothing, as for a packet to another decoder (S-9.2 B, July 2004).
type Idle struct{}

// Packet encodes the instruction.
func (i Idle) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns.
func (i Idle) AppendPacket(dst []byte) ([]byte, error) { return append(dst, 0xff, 0, 0xff), nil }

func (i Idle) String() string { return "idle" }
