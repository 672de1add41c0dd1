package dcc

const direct = " (direct)"

// appendDirect appends a direct-mode packet 0111CCAA AAAAAAAA DDDDDDDD (S-9.2.3 E, July 2012).
func appendDirect(dst []byte, operation byte, cv int, data byte) ([]byte, error) {
	if err := checkCV(cv); err != nil {
		return dst, err
	}
	first, second := cvCode(0x70, operation, cv)
	return appendSealed(dst, first, second, data), nil
}

// DirectVerify asks a decoder in service mode whether a CV has a value: it acknowledges a match (S-9.2.3 E, July 2012).
type DirectVerify struct {
	CV    int // 1..1024
	Value byte
}

// Packet encodes the instruction.
func (i DirectVerify) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i DirectVerify) AppendPacket(dst []byte) ([]byte, error) {
	return appendDirect(dst, verifyByte, i.CV, i.Value)
}

func (i DirectVerify) String() string { return cvText(i.CV, "verify", i.Value) + direct }

// DirectWrite writes a CV of a decoder in service mode (S-9.2.3 E, July 2012).
type DirectWrite struct {
	CV    int // 1..1024
	Value byte
}

// Packet encodes the instruction.
func (i DirectWrite) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i DirectWrite) AppendPacket(dst []byte) ([]byte, error) {
	return appendDirect(dst, writeByte, i.CV, i.Value)
}

func (i DirectWrite) String() string { return cvText(i.CV, "write", i.Value) + direct }

// DirectBit verifies or writes one bit of a CV of a decoder in service mode: data byte 111KDBBB (S-9.2.3 E, July 2012).
type DirectBit struct {
	CV    int // 1..1024
	Write bool
	Bit   int  // 0..7
	Value byte // 0 or 1
}

// Packet encodes the instruction.
func (i DirectBit) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i DirectBit) AppendPacket(dst []byte) ([]byte, error) {
	if err := checkBit(i.Bit, i.Value); err != nil {
		return dst, err
	}
	return appendDirect(dst, bitAccess, i.CV, bitData(i.Write, i.Bit, i.Value))
}

func (i DirectBit) String() string { return bitText(i.CV, i.Write, i.Bit, i.Value) + direct }
