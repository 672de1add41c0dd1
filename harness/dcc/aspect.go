package dcc

import "strconv"

// AccessoryAspect shows an aspect on an extended accessory decoder: 10AAAAAA 0AAA0AA1 XXXXXXXX. S-9.2.1 D (July 2012)
// uses the low five bits of X, NEM 672 (2015) 2 and 3 all eight. Aspect 0 is absolute stop.
type AccessoryAspect struct {
	Address uint16 // raw, 0..2046
	Aspect  byte
}

// Packet encodes the instruction.
func (i AccessoryAspect) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AccessoryAspect) AppendPacket(dst []byte) ([]byte, error) {
	if err := checkRange("accessory address", int(i.Address), 0, MaxAspectAddress); err != nil {
		return dst, err
	}
	return appendAspect(dst, i.Address, i.Aspect), nil
}

func appendAspect(dst []byte, raw uint16, aspect byte) []byte {
	first, second := accessoryBytes(raw, 1)
	return appendSealed(dst, first, second, aspect)
}

// SignalSpeed reads the aspect as NEM 672 (2015) 2 lays it out for signals: the low nibble is the speed in tens of km/h,
// 0 being stop and 15 the greatest the line allows, for which limited is false.
func (i AccessoryAspect) SignalSpeed() (kmh int, limited bool) {
	speed := int(i.Aspect & 0x0f)
	if speed == 0x0f {
		return 0, false
	}
	return 10 * speed, true
}

// Supplement is the supplementary signal of NEM 672 (2015) 2: the high nibble of the aspect.
func (i AccessoryAspect) Supplement() byte { return i.Aspect >> 4 }

func (i AccessoryAspect) String() string {
	return "accessory address " + strconv.Itoa(int(i.Address)) + aspectText(i.Aspect) + numbersText(i.Address)
}

func aspectText(aspect byte) string {
	text := " aspect " + strconv.Itoa(int(aspect))
	if aspect == 0 {
		text += ", stop"
	}
	return text
}

// AspectBroadcast shows an aspect on every extended accessory decoder: 10111111 00000111 XXXXXXXX (S-9.2.1 D, July 2012).
type AspectBroadcast struct{ Aspect byte }

// Packet encodes the instruction.
func (i AspectBroadcast) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AspectBroadcast) AppendPacket(dst []byte) ([]byte, error) {
	return appendAspect(dst, MaxAspectAddress+1, i.Aspect), nil
}

func (i AspectBroadcast) String() string {
	return "all extended accessory decoders" + aspectText(i.Aspect)
}
