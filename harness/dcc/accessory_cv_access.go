package dcc

import "strconv"

// An AccessoryScope is how much of an accessory decoder an AccessoryTarget means.
type AccessoryScope uint8

// The scopes, by the second byte of the packet (S-9.2.1 D, July 2012).
const (
	WholeDecoder    AccessoryScope = iota // 1AAA0000: all of a basic decoder
	OneOutput                             // 1AAA1DDD: one output of a basic decoder
	ExtendedAddress                       // 0AAA0AA1: an extended decoder's address
)

// An AccessoryTarget is what programming on the main speaks to among accessory decoders.
type AccessoryTarget struct {
	Scope   AccessoryScope
	Address uint16 // the decoder 0..511, or the raw address 0..2047 of an extended one; the highest means all
	Output  uint8  // 0..7, DDD: twice the pair and which of the pair; 0 unless the scope is OneOutput
}

// bytes gives the two address bytes.
func (t AccessoryTarget) bytes() (first, second byte, err error) {
	if t.Scope != OneOutput && t.Output != 0 {
		return 0, 0, &ConflictError{"accessory target", "output " + strconv.Itoa(int(t.Output)), "an output only with the scope OneOutput"}
	}
	switch t.Scope {
	case WholeDecoder, OneOutput:
		if err := checkRange("accessory decoder", int(t.Address), 0, 511); err != nil {
			return 0, 0, err
		}
		if err := checkRange("accessory output", int(t.Output), 0, 7); err != nil {
			return 0, 0, err
		}
		first, second = accessoryBytes(t.Address<<2, 0x80|flag(t.Scope == OneOutput, 8)|t.Output)
		return first, second, nil
	case ExtendedAddress:
		if err := checkRange("accessory address", int(t.Address), 0, 2047); err != nil {
			return 0, 0, err
		}
		first, second = accessoryBytes(t.Address, 1)
		return first, second, nil
	}
	return 0, 0, checkRange("accessory scope", int(t.Scope), int(WholeDecoder), int(ExtendedAddress))
}

// accessoryTarget reads what bytes writes; ok is false for bytes that are reserved.
func accessoryTarget(first, second byte) (t AccessoryTarget, ok bool) {
	raw := accessoryRaw(first, second)
	switch {
	case second&0x89 == 0x01:
		return AccessoryTarget{Scope: ExtendedAddress, Address: raw}, true
	case second&0x8f == 0x80:
		return AccessoryTarget{Scope: WholeDecoder, Address: raw >> 2}, true
	case second&0x88 == 0x88:
		return AccessoryTarget{Scope: OneOutput, Address: raw >> 2, Output: second & 7}, true
	}
	return AccessoryTarget{}, false
}

func (t AccessoryTarget) String() string {
	address := strconv.Itoa(int(t.Address))
	switch {
	case t.Scope == ExtendedAddress && t.Address == 2047:
		return "all extended accessory decoders"
	case t.Scope == ExtendedAddress:
		return "accessory address " + address
	case t.Scope == OneOutput && t.Address == 511:
		return "all accessory decoders output " + strconv.Itoa(int(t.Output))
	case t.Scope == OneOutput:
		return "accessory decoder " + address + basicOutput(t.Output)
	case t.Address == 511:
		return "all accessory decoders"
	}
	return "accessory decoder " + address
}

func basicOutput(ddd uint8) string {
	return " pair " + strconv.Itoa(int(ddd>>1)) + " output " + strconv.Itoa(int(ddd&1))
}

// appendAccessoryCV appends a packet 10AAAAAA xAAAxxxx 1110CCVV VVVVVVVV DDDDDDDD.
func appendAccessoryCV(dst []byte, t AccessoryTarget, operation byte, cv int, data byte) ([]byte, error) {
	if err := checkCV(cv); err != nil {
		return dst, err
	}
	first, second, err := t.bytes()
	if err != nil {
		return dst, err
	}
	third, fourth := cvCode(0xe0, operation, cv)
	return appendSealed(dst, first, second, third, fourth, data), nil
}

// AccessoryMainVerify asks an accessory decoder on the main whether a CV has a value (S-9.2.1 D, July 2012).
type AccessoryMainVerify struct {
	Target AccessoryTarget
	CV     int // 1..1024
	Value  byte
}

// Packet encodes the instruction.
func (i AccessoryMainVerify) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AccessoryMainVerify) AppendPacket(dst []byte) ([]byte, error) {
	return appendAccessoryCV(dst, i.Target, verifyByte, i.CV, i.Value)
}

func (i AccessoryMainVerify) String() string {
	return i.Target.String() + ": " + cvText(i.CV, "verify", i.Value) + onTheMain
}

// AccessoryMainWrite writes a CV of an accessory decoder on the main (S-9.2.1 D, July 2012).
type AccessoryMainWrite struct {
	Target AccessoryTarget
	CV     int // 1..1024
	Value  byte
}

// Packet encodes the instruction.
func (i AccessoryMainWrite) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AccessoryMainWrite) AppendPacket(dst []byte) ([]byte, error) {
	return appendAccessoryCV(dst, i.Target, writeByte, i.CV, i.Value)
}

func (i AccessoryMainWrite) String() string {
	return i.Target.String() + ": " + cvText(i.CV, "write", i.Value) + onTheMain
}

// AccessoryMainBit verifies or writes one bit of a CV of an accessory decoder on the main (S-9.2.1 D, July 2012).
type AccessoryMainBit struct {
	Target AccessoryTarget
	CV     int // 1..1024
	Write  bool
	Bit    int  // 0..7
	Value  byte // 0 or 1
}

// Packet encodes the instruction.
func (i AccessoryMainBit) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AccessoryMainBit) AppendPacket(dst []byte) ([]byte, error) {
	if err := checkBit(i.Bit, i.Value); err != nil {
		return dst, err
	}
	return appendAccessoryCV(dst, i.Target, bitAccess, i.CV, bitData(i.Write, i.Bit, i.Value))
}

func (i AccessoryMainBit) String() string {
	return i.Target.String() + ": " + bitText(i.CV, i.Write, i.Bit, i.Value) + onTheMain
}

// LegacyAccessoryWrite is the old, discouraged access to a CV of an accessory decoder:
// 10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD (S-9.2.1, appendix A, July 2012).
type LegacyAccessoryWrite struct {
	Decoder uint16 // 0..511, 511 being all decoders
	CV      int    // 1..1024
	Value   byte
}

// Packet encodes the instruction.
func (i LegacyAccessoryWrite) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i LegacyAccessoryWrite) AppendPacket(dst []byte) ([]byte, error) {
	if err := checkRange("accessory decoder", int(i.Decoder), 0, 511); err != nil {
		return dst, err
	}
	if err := checkCV(i.CV); err != nil {
		return dst, err
	}
	first, second := accessoryBytes(i.Decoder<<2, 0)
	marks, low := cvCode(0, writeByte, i.CV)
	return appendSealed(dst, first, second|marks, low, i.Value), nil
}

func (i LegacyAccessoryWrite) String() string {
	return AccessoryTarget{Address: i.Decoder}.String() + ": " + cvText(i.CV, "write", i.Value) + " (legacy form)"
}
