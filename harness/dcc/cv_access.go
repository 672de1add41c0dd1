package dcc

import "strconv"

// MaxCV is the highest CV that a packet can name: ten bits, counted from 1 (S-9.2.1 C and S-9.2.3 E, July 2012).
const MaxCV = 1024

// The operations on a CV, as the bits CC of 1110CCVV and of 0111CCAA (S-9.2.1 C; S-9.2.3 E).
const (
	verifyByte = 1
	bitAccess  = 2
	writeByte  = 3
)

// bitDataMark is the fixed bits of the data byte of a bit access.
const bitDataMark = 0xe0

const onTheMain = " (on the main)"

// cvCode gives the two bytes with the operation and the CV, 1..1024, counted from 0 on the track.
func cvCode(mark byte, operation byte, cv int) (byte, byte) {
	v := cv - 1
	return mark | operation<<2 | byte(v>>8), byte(v)
}

// cvOf reads what cvCode writes.
func cvOf(first, second byte) (operation byte, cv int) {
	return first >> 2 & 3, int(first&3)<<8 | int(second) + 1
}

// bitData gives the data byte 111CDBBB of a bit access.
func bitData(write bool, bit int, value byte) byte {
	return bitDataMark | flag(write, 0x10) | value<<3 | byte(bit)
}

// bitOf reads what bitData writes; ok is false when the fixed bits are missing.
func bitOf(data byte) (write bool, bit int, value byte, ok bool) {
	return data&0x10 != 0, int(data & 7), data >> 3 & 1, data&bitDataMark == bitDataMark
}

func cvText(cv int, operation string, value byte) string {
	return "CV " + strconv.Itoa(cv) + " " + operation + " " + strconv.Itoa(int(value))
}

func bitText(cv int, write bool, bit int, value byte) string {
	operation := " verify "
	if write {
		operation = " write "
	}
	return "CV " + strconv.Itoa(cv) + " bit " + strconv.Itoa(bit) + operation + strconv.Itoa(int(value))
}

// MainVerify asks a decoder on the main whether a CV has a value: 111001VV VVVVVVVV DDDDDDDD (S-9.2.1 C, July 2012).
type MainVerify struct {
	Address Address
	CV      int // 1..1024
	Value   byte
}

// Packet encodes the instruction.
func (i MainVerify) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i MainVerify) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i MainVerify) recipient() Address { return i.Address }

func (i MainVerify) body() (body, error) {
	first, second := cvCode(0xe0, verifyByte, i.CV)
	return body3(first, second, i.Value), checkCV(i.CV)
}

func (i MainVerify) String() string {
	return i.Address.loco() + cvText(i.CV, "verify", i.Value) + onTheMain
}

// MainWrite writes a CV of a decoder on the main: 111011VV VVVVVVVV DDDDDDDD. The decoder acts on the second of two
// identical packets (S-9.2.1 C, July 2012).
type MainWrite struct {
	Address Address
	CV      int // 1..1024
	Value   byte
}

// Packet encodes the instruction.
func (i MainWrite) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i MainWrite) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i MainWrite) recipient() Address { return i.Address }

func (i MainWrite) body() (body, error) {
	first, second := cvCode(0xe0, writeByte, i.CV)
	return body3(first, second, i.Value), checkCV(i.CV)
}

func (i MainWrite) String() string {
	return i.Address.loco() + cvText(i.CV, "write", i.Value) + onTheMain
}

// MainBit verifies or writes one bit of a CV of a decoder on the main: 111010VV VVVVVVVV 111CDBBB (S-9.2.1 C, July 2012).
type MainBit struct {
	Address Address
	CV      int // 1..1024
	Write   bool
	Bit     int  // 0..7
	Value   byte // 0 or 1
}

// Packet encodes the instruction.
func (i MainBit) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i MainBit) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i MainBit) recipient() Address { return i.Address }

func (i MainBit) body() (body, error) {
	if err := checkBit(i.Bit, i.Value); err != nil {
		return body{}, err
	}
	first, second := cvCode(0xe0, bitAccess, i.CV)
	return body3(first, second, bitData(i.Write, i.Bit, i.Value)), checkCV(i.CV)
}

func (i MainBit) String() string {
	return i.Address.loco() + bitText(i.CV, i.Write, i.Bit, i.Value) + onTheMain
}
