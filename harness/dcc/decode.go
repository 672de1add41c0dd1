package dcc

// Reasons of Unknown that more than one place gives.
const (
	cutShort          = "cut short"
	reservedAccess    = "reserved CV access"
	reservedAccessory = "reserved accessory packet"
	bitMarkMissing    = "bit access without its three leading ones"
)

// Decode tells what a packet means to decoders in operations mode. Every packet gives an instruction: one that is
// damaged, reserved or malformed gives Unknown. Packet of the instruction gives the same bytes back.
func Decode(p Packet) Instruction {
	if reason := damage(p); reason != "" {
		return unknown(p, reason)
	}
	switch p.Partition() {
	case BroadcastPartition, ShortPartition, LongPartition:
		return decodeMobile(p)
	case AccessoryPartition:
		return decodeAccessory(p)
	case IdlePartition:
		if p.IsIdle() {
			return Idle{}
		}
	}
	return unknown(p, "reserved first byte")
}

// DecodeService tells what a packet means to a decoder in service mode. Those with the first byte 112..127 are orders;
// their length tells the direct method, four bytes, from the registers, three. All others mean what Decode says.
func DecodeService(p Packet) Instruction {
	if !p.IsService() {
		if p.Valid() && p[0] >= 112 && p[0] <= 127 {
			return unknown(p, "service-mode packet of neither three nor four bytes")
		}
		return Decode(p)
	}
	if len(p) == 4 {
		operation, cv := cvOf(p[0], p[1])
		switch operation {
		case verifyByte:
			return DirectVerify{CV: cv, Value: p[2]}
		case writeByte:
			return DirectWrite{CV: cv, Value: p[2]}
		case bitAccess:
			if write, bit, value, ok := bitOf(p[2]); ok {
				return DirectBit{CV: cv, Write: write, Bit: bit, Value: value}
			}
			return unknown(p, bitMarkMissing)
		}
		return unknown(p, "reserved operation of direct mode")
	}
	switch {
	case p[0] == 0x7d && p[1] == 0x01:
		return PagePreset{}
	case p[0] == 0x7f && p[1] == 0x08:
		return FactoryReset{}
	}
	return Register{Write: p[0]&8 != 0, Register: int(p[0]&7) + 1, Value: p[1]}
}

// damage says why no decoder may act on the bytes, whatever they stand for.
func damage(p Packet) string {
	switch {
	case len(p) < MinPacketBytes:
		return "shorter than 3 bytes"
	case !p.Valid():
		return "error byte does not match"
	case p.Partition() == AdvancedPartition:
		return "advanced extended packet"
	case len(p) > MaxPacketBytes:
		return "longer than 6 bytes"
	}
	return ""
}

func decodeMobile(p Packet) Instruction {
	a, body, ok := p.split()
	if !ok || len(body) == 0 {
		return unknown(p, cutShort)
	}
	i, n, reason := decodeOne(a, body)
	if reason != "" {
		return unknown(p, reason)
	}
	if n == len(body) {
		return i
	}
	var seen onlyOnce
	all := Combined{Address: a}
	for {
		if kind := seen.add(body[0]); kind != "" {
			return unknown(p, "two instructions of the kind "+kind)
		}
		if !combinable(i) {
			return unknown(p, "more instructions beside one that must stand alone")
		}
		all.Instructions = append(all.Instructions, i)
		if body = body[n:]; len(body) == 0 {
			return all
		}
		if i, n, reason = decodeOne(a, body); reason != "" {
			return unknown(p, reason)
		}
	}
}

// decodeOne reads the first instruction to a locomotive decoder, and tells how many bytes it is, or why it is none.
// The kinds are the three bits CCC of S-9.2.1 C (July 2012).
func decodeOne(a Address, b []byte) (i Instruction, n int, reason string) {
	switch b[0] >> 5 {
	case 0:
		return decodeControl(a, b)
	case 1:
		return decodeAdvanced(a, b)
	case 2, 3:
		return decodeSpeed28(a, b[0]), 1, ""
	case 4:
		return Functions{Address: a, Group: F0F4, States: b[0]>>4&1 | b[0]&0x0f<<1}, 1, ""
	case 5:
		if b[0]&0x10 != 0 {
			return Functions{Address: a, Group: F5F8, States: b[0] & 0x0f}, 1, ""
		}
		return Functions{Address: a, Group: F9F12, States: b[0] & 0x0f}, 1, ""
	case 6:
		return decodeExpansion(a, b)
	}
	return decodeAccess(a, b)
}

func decodeSpeed28(a Address, code byte) Instruction {
	direction := Direction(code >> 5 & 1)
	step, emergency, ignored := step28(code)
	if a == Broadcast && step == 0 {
		return BroadcastStop{Direction: direction, Immediate: emergency, DirectionIgnored: ignored}
	}
	return Speed{Address: a, Steps: Steps28, Direction: direction, Step: step, Emergency: emergency, DirectionIgnored: ignored}
}

// decodeControl reads 000xxxxx: decoder control and consist.
func decodeControl(a Address, b []byte) (Instruction, int, string) {
	on := b[0]&1 != 0
	switch b[0] & 0x1e {
	case 0x00:
		return Reset{Address: a, Hard: on}, 1, ""
	case 0x02, 0x0a, 0x0e:
		return DecoderControl{Address: a, Control: Control(b[0] >> 1), On: on}, 1, ""
	case 0x06:
		if len(b) == 2 {
			return DecoderControl{Address: a, Control: SetFlags, On: on, HasData: true, Data: b[1]}, 2, ""
		}
		return DecoderControl{Address: a, Control: SetFlags, On: on}, 1, ""
	case 0x12:
		if len(b) < 2 {
			return nil, 0, "consist without its address"
		}
		if b[1] > 127 {
			return nil, 0, "consist address above 127"
		}
		return Consist{Address: a, Consist: int(b[1]), Reversed: on}, 2, ""
	}
	return nil, 0, "reserved control instruction"
}

// decodeAdvanced reads 001xxxxx: advanced operations.
func decodeAdvanced(a Address, b []byte) (Instruction, int, string) {
	switch {
	case b[0] < 0x3c:
		return nil, 0, "reserved advanced operation"
	case len(b) < 2:
		return nil, 0, cutShort
	}
	direction := Direction(b[1] >> 7)
	step, emergency := step128(b[1] & 0x7f)
	switch b[0] {
	case 0x3f:
		return Speed{Address: a, Steps: Steps128, Direction: direction, Step: step, Emergency: emergency}, 2, ""
	case 0x3e:
		if b[1]&0x40 != 0 {
			return nil, 0, "restricted speed with a reserved bit"
		}
		step, emergency, ignored := step28(b[1] & 0x1f)
		return RestrictedSpeed{Address: a, Enabled: b[1]&0x80 == 0, Direction: Direction(b[1] >> 5 & 1), Step: step,
			Emergency: emergency, DirectionIgnored: ignored}, 2, ""
	}
	if len(b) < 3 {
		return nil, 0, cutShort
	}
	if b[0] == 0x3d {
		return AnalogFunction{Address: a, Function: b[1], Value: b[2]}, 3, ""
	}
	i := SpeedAndFunctions{Address: a, Direction: direction, Step: step, Emergency: emergency, Last: 7, States: uint16(b[2])}
	if len(b) > 3 {
		i.Last, i.States = 15, i.States|uint16(b[3])<<8
	}
	return i, len(b), ""
}

// decodeExpansion reads 110xxxxx: feature expansion.
func decodeExpansion(a Address, b []byte) (Instruction, int, string) {
	switch b[0] {
	case 0xc0:
		if len(b) < 3 {
			return nil, 0, cutShort
		}
		on, number := b[1]&0x80 != 0, int(b[2])<<7|int(b[1]&0x7f)
		switch {
		case number == 0:
			return AllBinaryStates{Address: a, On: on, Long: true}, 3, ""
		case number <= 127:
			return nil, 0, "binary state 1-127 in the long form"
		}
		return BinaryState{Address: a, Number: number, On: on}, 3, ""
	case 0xc1, 0xc2:
		return decodeSystem(a, b)
	case 0xdd:
		if len(b) < 2 {
			return nil, 0, cutShort
		}
		on, number := b[1]&0x80 != 0, int(b[1]&0x7f)
		if number == 0 {
			return AllBinaryStates{Address: a, On: on}, 2, ""
		}
		return BinaryState{Address: a, Number: number, On: on}, 2, ""
	}
	for g := F13F20; g <= F61F68; g++ {
		if functionGroups[g].code != b[0] {
			continue
		}
		if len(b) < 2 {
			return nil, 0, cutShort
		}
		return Functions{Address: a, Group: g, States: b[1]}, 2, ""
	}
	return nil, 0, "reserved feature expansion"
}

// decodeSystem reads the system commands.
func decodeSystem(a Address, b []byte) (Instruction, int, string) {
	switch {
	case a != Broadcast:
		return nil, 0, "system command to one locomotive"
	case b[0] == 0xc2:
		if len(b) < 3 {
			return nil, 0, cutShort
		}
		return SystemTime{uint16(b[1])<<8 | uint16(b[2])}, 3, ""
	case len(b) < 4:
		return nil, 0, cutShort
	}
	var i mobile
	switch {
	case b[1]&0xc0 == 0 && b[3]&0x40 == 0:
		i = ModelTime{Weekday: int(b[2] >> 5), Hour: int(b[2] & 0x1f), Minute: int(b[1]), Changed: b[3]&0x80 != 0, Factor: int(b[3] & 0x3f)}
	case b[1]&0xe0 == 0x40:
		i = ModelDate{Year: int(b[2]&0x0f)<<8 | int(b[3]), Month: int(b[2] >> 4), Day: int(b[1] & 0x1f)}
	default:
		return nil, 0, "reserved system command"
	}
	if _, err := i.body(); err != nil {
		return nil, 0, "no such time or date"
	}
	return i, 4, ""
}

// decodeAccess reads 111xxxxx: access to CVs.
func decodeAccess(a Address, b []byte) (Instruction, int, string) {
	if b[0] >= 0xf0 {
		return decodeShortAccess(a, b)
	}
	if len(b) < 3 {
		return nil, 0, cutShort
	}
	operation, cv := cvOf(b[0], b[1])
	switch operation {
	case verifyByte:
		return MainVerify{Address: a, CV: cv, Value: b[2]}, 3, ""
	case writeByte:
		return MainWrite{Address: a, CV: cv, Value: b[2]}, 3, ""
	case bitAccess:
		if write, bit, value, ok := bitOf(b[2]); ok {
			return MainBit{Address: a, CV: cv, Write: write, Bit: bit, Value: value}, 3, ""
		}
		return nil, 0, bitMarkMissing
	}
	return nil, 0, reservedAccess
}

// decodeShortAccess reads 1111xxxx: the short forms of access to CVs, and the two orders of service mode among them.
func decodeShortAccess(a Address, b []byte) (Instruction, int, string) {
	switch b[0] {
	case 0xf2, 0xf3:
		if len(b) < 2 {
			return nil, 0, cutShort
		}
		return MainShortWrite{Address: a, CV: 23 + int(b[0]&1), Value: b[1]}, 2, ""
	case 0xf4, 0xf5:
		if len(b) < 3 {
			return nil, 0, cutShort
		}
		return MainShortWritePair{Address: a, CV: 17 + 14*int(b[0]&1), Values: [2]byte{b[1], b[2]}}, 3, ""
	case serviceCode:
		switch {
		case a == Broadcast && len(b) == 2 && b[1] <= MaxShort:
			return DecoderLock{Short(uint16(b[1]))}, 2, ""
		case a != Broadcast && !a.Long && a.Number <= MaxQueryAddress && len(b) == 1:
			return AddressQuery{a}, 1, ""
		}
		return nil, 0, "neither address query nor decoder lock"
	}
	return nil, 0, "reserved short CV access"
}

// decodeAccessory reads 10AAAAAA. Old decoders tell the forms by length, as S-9.2.1, footnote 9 (July 2012), asks.
func decodeAccessory(p Packet) Instruction {
	raw := accessoryRaw(p[0], p[1])
	all := raw>>2 > MaxAccessoryDecoder
	switch {
	case len(p) == 6:
		return decodeAccessoryAccess(p)
	case p[1]&0x80 != 0 && len(p) == 3:
		pair, output, activate := uint8(raw&3), p[1]&1, p[1]&8 != 0
		if all {
			return AccessoryBroadcast{Pair: pair, Output: output, Activate: activate}
		}
		return Accessory{Decoder: raw >> 2, Pair: pair, Output: output, Activate: activate}
	case p[1]&0x88 == 0x08 && len(p) == 3:
		return AccessoryNOP{Address: raw, Extended: p[1]&1 != 0}
	case p[1]&0x89 == 0x01 && len(p) == 4:
		if raw > MaxAspectAddress {
			return AspectBroadcast{Aspect: p[2]}
		}
		return AccessoryAspect{Address: raw, Aspect: p[2]}
	case p[1]&0x8c == 0x0c && len(p) == 5:
		_, cv := cvOf(p[1], p[2])
		return LegacyAccessoryWrite{Decoder: raw >> 2, CV: cv, Value: p[3]}
	}
	return unknown(p, reservedAccessory)
}

func decodeAccessoryAccess(p Packet) Instruction {
	target, ok := accessoryTarget(p[0], p[1])
	if !ok || p[2]&0xf0 != 0xe0 {
		return unknown(p, reservedAccessory)
	}
	operation, cv := cvOf(p[2], p[3])
	switch operation {
	case verifyByte:
		return AccessoryMainVerify{Target: target, CV: cv, Value: p[4]}
	case writeByte:
		return AccessoryMainWrite{Target: target, CV: cv, Value: p[4]}
	case bitAccess:
		if write, bit, value, ok := bitOf(p[4]); ok {
			return AccessoryMainBit{Target: target, CV: cv, Write: write, Bit: bit, Value: value}
		}
		return unknown(p, bitMarkMissing)
	}
	return unknown(p, reservedAccess)
}
