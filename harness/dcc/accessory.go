package dcc

import "strconv"

// The limits of accessory addresses. The decoder address with all nine bits set and the raw address with all eleven set
// are those of every accessory decoder: AccessoryBroadcast and AspectBroadcast (S-9.2.1 D, July 2012).
const (
	MaxAccessoryDecoder = 510
	MaxAspectAddress    = 2046
)

// accessoryBytes gives the two bytes 10AAAAAA xAAAxAAx for a raw 11-bit address. The decoder's three high bits stand in
// the second byte in ones' complement, the two bits that choose the pair in its bits 2 and 1 (S-9.2.1 D).
func accessoryBytes(raw uint16, marks byte) (byte, byte) {
	return 0x80 | byte(raw>>2&0x3f), byte(^raw>>8&7)<<4 | byte(raw&3)<<1 | marks
}

// accessoryRaw reads what accessoryBytes writes.
func accessoryRaw(first, second byte) uint16 {
	return uint16(^second>>4&7)<<8 | uint16(first&0x3f)<<2 | uint16(second>>1&3)
}

// Accessory switches one output of a basic accessory decoder: 10AAAAAA 1AAACDDD (S-9.2.1 D, July 2012).
// A Numbering makes one from the number by which a user knows it.
type Accessory struct {
	Decoder  uint16 // 0..510
	Pair     uint8  // 0..3: the bits 2 and 1
	Output   uint8  // 0..1: bit 0, which of the pair; 0 = diverging or stop, 1 = straight or clear (RCN-213, from memory)
	Activate bool   // bit C
}

// Packet encodes the instruction.
func (i Accessory) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i Accessory) AppendPacket(dst []byte) ([]byte, error) {
	if err := checkRange("accessory decoder", int(i.Decoder), 0, MaxAccessoryDecoder); err != nil {
		return dst, err
	}
	return appendBasic(dst, i.Decoder, i.Pair, i.Output, i.Activate)
}

func appendBasic(dst []byte, decoder uint16, pair, output uint8, activate bool) ([]byte, error) {
	if err := checkRange("accessory pair", int(pair), 0, 3); err != nil {
		return dst, err
	}
	if err := checkRange("accessory output", int(output), 0, 1); err != nil {
		return dst, err
	}
	first, second := accessoryBytes(decoder<<2|uint16(pair), 0x80|flag(activate, 8)|output)
	return appendSealed(dst, first, second), nil
}

// Raw is the 11-bit address of the pair: four times the decoder and the pair.
func (i Accessory) Raw() uint16 { return i.Decoder<<2 | uint16(i.Pair) }

func (i Accessory) String() string {
	return "accessory decoder " + strconv.Itoa(int(i.Decoder)) + basicText(i.Pair, i.Output, i.Activate) + numbersText(i.Raw())
}

func basicText(pair, output uint8, activate bool) string {
	return " pair " + strconv.Itoa(int(pair)) + " output " + strconv.Itoa(int(output)) + onOff(activate)
}

// AccessoryBroadcast switches one output of every basic accessory decoder: 10111111 1000CDDD (S-9.2.1 D, July 2012).
type AccessoryBroadcast struct {
	Pair     uint8 // 0..3
	Output   uint8 // 0..1
	Activate bool
}

// EmergencyOff is the broadcast at which every accessory decoder takes the power off its outputs: 10111111 10000110
// (RCN-213, from memory).
var EmergencyOff = AccessoryBroadcast{Pair: 3}

// Packet encodes the instruction.
func (i AccessoryBroadcast) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AccessoryBroadcast) AppendPacket(dst []byte) ([]byte, error) {
	return appendBasic(dst, MaxAccessoryDecoder+1, i.Pair, i.Output, i.Activate)
}

func (i AccessoryBroadcast) String() string {
	text := "all accessory decoders" + basicText(i.Pair, i.Output, i.Activate)
	if i == EmergencyOff {
		text += " (emergency off)"
	}
	return text
}

// AccessoryNOP tells an accessory decoder nothing: 10AAAAAA 0AAA1AAT. It gives a bi-directional decoder its time to
// answer (RCN-213, from memory).
type AccessoryNOP struct {
	Address  uint16 // raw, 0..2047, 2047 being all decoders
	Extended bool   // T: the decoder is an extended one
}

// Packet encodes the instruction.
func (i AccessoryNOP) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AccessoryNOP) AppendPacket(dst []byte) ([]byte, error) {
	if err := checkRange("accessory address", int(i.Address), 0, MaxAspectAddress+1); err != nil {
		return dst, err
	}
	first, second := accessoryBytes(i.Address, 8|flag(i.Extended, 1))
	return appendSealed(dst, first, second), nil
}

func (i AccessoryNOP) String() string {
	text := "basic"
	if i.Extended {
		text = "extended"
	}
	if i.Address > MaxAspectAddress {
		return "all " + text + " accessory decoders: no operation"
	}
	return text + " accessory address " + strconv.Itoa(int(i.Address)) + " no operation" + numbersText(i.Address)
}
