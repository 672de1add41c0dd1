package dcc

import "strconv"

// MainShortWrite writes the acceleration or deceleration adjustment of a decoder on the main in one short packet:
// 11110010 for CV23 or 11110011 for CV24, and the value. One packet is enough (S-9.2.1 C, July 2012).
type MainShortWrite struct {
	Address Address
	CV      int // 23 or 24
	Value   byte
}

// Packet encodes the instruction.
func (i MainShortWrite) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i MainShortWrite) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i MainShortWrite) recipient() Address { return i.Address }

func (i MainShortWrite) body() (body, error) {
	err := checkRange("CV of the short form", i.CV, 23, 24)
	return body2(0xf2+byte(i.CV-23), i.Value), err
}

func (i MainShortWrite) String() string {
	return i.Address.loco() + cvText(i.CV, "write", i.Value) + " (on the main, short form)"
}

// MainShortWritePair writes two CVs that belong together on the main: 11110100 for CV17 and CV18, which also sets CV29
// bit 5, or 11110101 for CV31 and CV32, and the two values. The decoder acts on the second of two identical packets
// (RCN-214 3, from memory).
type MainShortWritePair struct {
	Address Address
	CV      int     // the first CV, 17 or 31
	Values  [2]byte // of CV and CV+1
}

// Packet encodes the instruction.
func (i MainShortWritePair) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i MainShortWritePair) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i MainShortWritePair) recipient() Address { return i.Address }

func (i MainShortWritePair) body() (body, error) {
	switch i.CV {
	case 17:
		return body3(0xf4, i.Values[0], i.Values[1]), nil
	case 31:
		return body3(0xf5, i.Values[0], i.Values[1]), nil
	}
	return body{}, &ConflictError{"short form for two CVs", "CV " + strconv.Itoa(i.CV), "CV 17 or 31"}
}

func (i MainShortWritePair) String() string {
	return i.Address.loco() + cvText(i.CV, "write", i.Values[0]) + ", " + cvText(i.CV+1, "write", i.Values[1]) +
		" (on the main, short form)"
}
