package dcc

// An Instruction is one order to decoders. The types of this package are all there are; switch on them.
type Instruction interface {
	// Packet encodes the instruction. A value that has no place in the packet gives a *RangeError, values that do not go
	// together a *ConflictError.
	Packet() (Packet, error)
	// AppendPacket appends what Packet returns to dst. It allocates nothing when dst has room for six bytes. After an
	// error it returns dst as it was.
	AppendPacket(dst []byte) ([]byte, error)
	// String tells what the instruction means, in the trade's words.
	String() string
}

// A body is the bytes between address and error byte of a packet to a locomotive decoder.
type body struct {
	bytes [4]byte
	n     int
}

func body1(a byte) body          { return body{[4]byte{a}, 1} }
func body2(a, b byte) body       { return body{[4]byte{a, b}, 2} }
func body3(a, b, c byte) body    { return body{[4]byte{a, b, c}, 3} }
func body4(a, b, c, d byte) body { return body{[4]byte{a, b, c, d}, 4} }

// A mobile instruction speaks to locomotive decoders.
type mobile interface {
	Instruction
	recipient() Address
	body() (body, error)
}

// appendMobile appends a packet to a locomotive decoder.
func appendMobile(dst []byte, a Address, b body, err error) ([]byte, error) {
	if err != nil {
		return dst, err
	}
	if err := a.Check(); err != nil {
		return dst, err
	}
	at := len(dst)
	dst = append(a.append(dst), b.bytes[:b.n]...)
	if n := len(dst) - at + 1; n > MaxPacketBytes {
		return dst[:at], &RangeError{What: "packet bytes", Got: n, Min: MinPacketBytes, Max: MaxPacketBytes}
	}
	return append(dst, xor(dst[at:])), nil
}

// Unknown is a packet that no instruction of this package describes: reserved, malformed, or damaged on its way. It keeps
// the bytes as they were, so that nothing is lost.
type Unknown struct {
	Bytes  Packet
	Reason string // why it is not understood
}

// Packet returns a copy of the bytes.
func (i Unknown) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends the bytes as they are.
func (i Unknown) AppendPacket(dst []byte) ([]byte, error) { return append(dst, i.Bytes...), nil }

func (i Unknown) String() string { return "unknown " + i.Bytes.String() + ": " + i.Reason }

func unknown(p Packet, reason string) Instruction {
	return Unknown{Bytes: append(Packet{}, p...), Reason: reason}
}
