package dcc_test

import (
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWhatNoInstructionDescribesIsUnknownAndSaysWhy(t *testing.T) {
	for _, c := range []struct {
		source string
		p      dcc.Packet
		reason string
	}{
		{"S-9.2.1, introduction", nil, "shorter than 3 bytes"},
		{"S-9.2.1, introduction", dcc.Packet{0, 0}, "shorter than 3 bytes"},
		{"S-9.2.1, introduction", dcc.Seal(3, 0x74, 0x90, 0xb0, 0xa0, 0x90), "longer than 6 bytes"},
		{"S-9.2 B", dcc.Packet{3, 0x74, 0x76}, "error byte does not match"},
		{"S-9.2.1 A", dcc.Seal(232, 0), "reserved first byte"},
		{"S-9.2.1 A", dcc.Seal(252, 0, 0), "reserved first byte"},
		{"S-9.2.1.1", dcc.Seal(253, 0, 0, 0, 0, 0, 0, 0), "advanced extended packet"},
		{"S-9.2.1.1", dcc.Seal(254, 0), "advanced extended packet"},
		{"S-9.2 A", dcc.Seal(255, 1), "reserved first byte"},
		{"S-9.2 B", dcc.Seal(255, 0, 0), "reserved first byte"},
		{"S-9.2.1 C", dcc.Seal(0xc3, 0xe8), "cut short"},
		{"S-9.2.1 C, CCC = 010", dcc.Seal(3, 0x04), "reserved control instruction"},
		{"S-9.2.1 C, CCC = 100", dcc.Seal(3, 0x08), "reserved control instruction"},
		{"S-9.2.1 C, CCC = 110", dcc.Seal(3, 0x0d), "reserved control instruction"},
		{"S-9.2.1 C, 0001xxxx", dcc.Seal(3, 0x10, 5), "reserved control instruction"},
		{"S-9.2.1 C, consist", dcc.Seal(3, 0x12), "consist without its address"},
		{"S-9.2.1 C, consist 0AAAAAAA", dcc.Seal(3, 0x12, 0x80), "consist address above 127"},
		{"S-9.2.1 C, 001xxxxx", dcc.Seal(3, 0x20, 0), "reserved advanced operation"},
		{"S-9.2.1 C, 00111111", dcc.Seal(3, 0x3f), "cut short"},
		{"S-9.2.1 C, 00111101", dcc.Seal(3, 0x3d, 1), "cut short"},
		{"S-9.2.1 C, 00111110 bit 6", dcc.Seal(3, 0x3e, 0x40), "restricted speed with a reserved bit"},
		{"S-9.2.1 C, 110xxxxx", dcc.Seal(3, 0xc8, 0), "reserved feature expansion"},
		{"S-9.2.1 C, 11011110", dcc.Seal(3, 0xde), "cut short"},
		{"S-9.2.1 C, 11000000", dcc.Seal(3, 0xc0, 5), "cut short"},
		{"S-9.2.1 C, 1-127 shall use the short form", dcc.Seal(3, 0xc0, 0x85, 0), "binary state 1-127 in the long form"},
		{"RCN-211 4.3", dcc.Seal(3, 0xc2, 0, 0), "system command to one locomotive"},
		{"RCN-211 4.3, hour 24", dcc.Seal(0, 0xc1, 0, 24, 0), "no such time or date"},
		{"RCN-211 4.3, month 13", dcc.Seal(0, 0xc1, 0x41, 0xd0, 0), "no such time or date"},
		{"RCN-211 4.3", dcc.Seal(0, 0xc1, 0x80, 0, 0), "reserved system command"},
		{"S-9.2.1 C, CC = 00", dcc.Seal(3, 0xe0, 0, 0), "reserved CV access"},
		{"S-9.2.1 C, 1110CCVV", dcc.Seal(3, 0xec, 0), "cut short"},
		{"S-9.2.1 C, 111CDBBB", dcc.Seal(3, 0xe8, 0, 0x18), "bit access without its three leading ones"},
		{"S-9.2.1 C, 1111CCCC", dcc.Seal(3, 0xf0, 0), "reserved short CV access"},
		{"S-9.2.3 appendix A, 1-111 only", dcc.Seal(112, 0xf9), "neither address query nor decoder lock"},
		{"S-9.2.3 appendix B, address 0", dcc.Seal(3, 0xf9, 3), "neither address query nor decoder lock"},
		{"S-9.2.1 C, one CV access", dcc.Seal(3, 0xf2, 1, 0xf3, 1), "two instructions of the kind CV access"},
		{"S-9.2.1 C, one advanced operation", dcc.Seal(3, 0x3f, 1, 0x3f, 1), "two instructions of the kind advanced operation"},
		{"S-9.2.1 C, one control instruction", dcc.Seal(3, 0x00, 0x01), "two instructions of the kind control or consist"},
		{"S-9.2.1 D, 0AAA0AA0", dcc.Seal(0x81, 0x70, 0), "reserved accessory packet"},
		{"S-9.2.1 D, length", dcc.Seal(0x81, 0xf8, 0), "reserved accessory packet"},
		{"S-9.2.1 D, CDDD = 0001", dcc.Seal(0x81, 0xf1, 0xec, 0, 0), "reserved accessory packet"},
		{"S-9.2.1 D, CC = 00", dcc.Seal(0x81, 0xf0, 0xe0, 0, 0), "reserved CV access"},
		{"S-9.2.1 D, 111CDBBB", dcc.Seal(0x81, 0xf0, 0xe8, 0, 0), "bit access without its three leading ones"},
	} {
		assert.Equal(t, dcc.Unknown{Bytes: append(dcc.Packet{}, c.p...), Reason: c.reason}, dcc.Decode(c.p), "%s (%s)", c.p, c.source)
	}
	assert.Equal(t, "unknown e800e8: reserved first byte", dcc.Decode(dcc.Seal(232, 0)).String())
}

// S-9.2.3 E (July 2012).
func TestWhatServiceModeDoesNotKnowIsUnknown(t *testing.T) {
	for reason, p := range map[string]dcc.Packet{
		"reserved operation of direct mode":                   dcc.Seal(0x70, 0, 0),
		"bit access without its three leading ones":           dcc.Seal(0x78, 0, 0),
		"service-mode packet of neither three nor four bytes": dcc.Seal(0x7c, 0, 0, 0),
		"error byte does not match":                           {0x7c, 0, 3, 0},
	} {
		assert.Equal(t, dcc.Unknown{Bytes: p, Reason: reason}, dcc.DecodeService(p), "%s", p)
	}
}

func TestAPacketInServiceModeIsAnotherInOperationsMode(t *testing.T) {
	p := dcc.Seal(124, 0x74) // loco 124: step 6; register 5 := 116
	assert.Equal(t, "loco 124: speed step 6 of 28, forward", dcc.Decode(p).String())
	assert.Equal(t, "register 5 write 116 (register)", dcc.DecodeService(p).String())
	assert.Equal(t, "loco 3: speed step 6 of 28, forward", dcc.DecodeService(dcc.Seal(3, 0x74)).String())
}

func TestAnUnknownPacketIsKeptWhenItsBytesChange(t *testing.T) {
	p := dcc.Seal(232, 1)
	i := dcc.Decode(p)
	p[1] = 9
	kept, err := i.Packet()
	require.NoError(t, err)
	assert.Equal(t, dcc.Seal(232, 1), kept)
}

func TestValuesWithoutAPlaceAreRefused(t *testing.T) {
	long := dcc.Long(10240)
	loco := dcc.Short(3)
	for want, i := range map[string]dcc.Instruction{
		"dcc: short address: got 128, want 0..127":       dcc.Speed{Address: dcc.Short(128), Steps: dcc.Steps28},
		"dcc: long address: got 10240, want 0..10239":    dcc.Reset{Address: long},
		"dcc: speed step: got 29, want 0..28":            dcc.Speed{Address: loco, Steps: dcc.Steps28, Step: 29},
		"dcc: speed step: got 127, want 0..126":          dcc.Speed{Address: loco, Steps: dcc.Steps128, Step: 127},
		"dcc: speed step: got -1, want 0..126":           dcc.SpeedAndFunctions{Address: loco, Step: -1, Last: 7},
		"dcc: speed step: got 30, want 0..28":            dcc.RestrictedSpeed{Address: loco, Step: 30},
		"dcc: direction: got 2, want 0..1":               dcc.Speed{Address: loco, Steps: dcc.Steps28, Direction: 2},
		"dcc: direction: got 3, want 0..1":               dcc.BroadcastStop{Direction: 3},
		"dcc: function group: got 10, want 0..9":         dcc.Functions{Address: loco, Group: 10},
		"dcc: function states: got 32, want 0..31":       dcc.Functions{Address: loco, Group: dcc.F0F4, States: 32},
		"dcc: function states: got 16, want 0..15":       dcc.Functions{Address: loco, Group: dcc.F9F12, States: 16},
		"dcc: function states: got 256, want 0..255":     dcc.SpeedAndFunctions{Address: loco, Last: 7, States: 256},
		"dcc: packet bytes: got 7, want 3..6":            dcc.SpeedAndFunctions{Address: dcc.Long(3), Last: 15},
		"dcc: binary state: got 0, want 1..32767":        dcc.BinaryState{Address: loco},
		"dcc: consist address: got 128, want 0..127":     dcc.Consist{Address: loco, Consist: 128},
		"dcc: CV: got 0, want 1..1024":                   dcc.MainWrite{Address: loco},
		"dcc: CV: got 1025, want 1..1024":                dcc.MainVerify{Address: loco, CV: 1025},
		"dcc: bit: got 8, want 0..7":                     dcc.MainBit{Address: loco, CV: 1, Bit: 8},
		"dcc: value of a bit: got 2, want 0..1":          dcc.DirectBit{CV: 1, Value: 2},
		"dcc: CV of the short form: got 25, want 23..24": dcc.MainShortWrite{Address: loco, CV: 25},
		"dcc: hour: got 24, want 0..23":                  dcc.ModelTime{Hour: 24},
		"dcc: minute: got 60, want 0..59":                dcc.ModelTime{Minute: 60},
		"dcc: weekday: got 8, want 0..7":                 dcc.ModelTime{Weekday: 8},
		"dcc: clock factor: got 64, want 0..63":          dcc.ModelTime{Factor: 64},
		"dcc: day: got 0, want 1..31":                    dcc.ModelDate{Month: 1},
		"dcc: month: got 0, want 1..12":                  dcc.ModelDate{Day: 1},
		"dcc: year: got 4096, want 0..4095":              dcc.ModelDate{Day: 1, Month: 1, Year: 4096},
		"dcc: accessory decoder: got 511, want 0..510":   dcc.Accessory{Decoder: 511},
		"dcc: accessory pair: got 4, want 0..3":          dcc.Accessory{Pair: 4},
		"dcc: accessory output: got 2, want 0..1":        dcc.AccessoryBroadcast{Output: 2},
		"dcc: accessory address: got 2047, want 0..2046": dcc.AccessoryAspect{Address: 2047},
		"dcc: accessory address: got 2048, want 0..2047": dcc.AccessoryNOP{Address: 2048},
		"dcc: accessory decoder: got 512, want 0..511":   dcc.LegacyAccessoryWrite{Decoder: 512, CV: 1},
		"dcc: accessory output: got 8, want 0..7":        dcc.AccessoryMainWrite{Target: dcc.AccessoryTarget{Scope: dcc.OneOutput, Output: 8}, CV: 1},
		"dcc: accessory scope: got 3, want 0..2":         dcc.AccessoryMainVerify{Target: dcc.AccessoryTarget{Scope: 3}, CV: 1},
		"dcc: CV: got -1, want 1..1024":                  dcc.AccessoryMainBit{CV: -1},
		"dcc: CV: got 2000, want 1..1024":                dcc.DirectWrite{CV: 2000},
		"dcc: register: got 9, want 1..8":                dcc.Register{Register: 9},
		"dcc: register: got 0, want 1..8":                dcc.Register{},
		"dcc: short address: got 200, want 0..127":       dcc.AddressOnly{Address: 200},
		"dcc: address query: got 112, want 1..111":       dcc.AddressQuery{Address: dcc.Short(112)},
		"dcc: instruction bytes: got 5, want 1..4": dcc.Combined{Address: loco, Instructions: []dcc.Instruction{
			dcc.MainWrite{Address: loco, CV: 1}, dcc.Speed{Address: loco, Steps: dcc.Steps128}}},
	} {
		_, err := i.Packet()
		require.EqualError(t, err, want)
		var out *dcc.RangeError
		assert.ErrorAs(t, err, &out)
		kept, err := i.AppendPacket([]byte{7})
		assert.Error(t, err)
		assert.Equal(t, []byte{7}, kept, want)
	}
}

func TestValuesThatDoNotGoTogetherAreRefused(t *testing.T) {
	loco := dcc.Short(3)
	step := dcc.Speed{Address: loco, Steps: dcc.Steps28, Step: 1}
	for want, i := range map[string]dcc.Instruction{
		"dcc: speed: got 14 speed steps, want 28 or 128": dcc.Speed{Address: loco, Steps: 14},
		"dcc: emergency stop: got step 5, want step 0":   dcc.Speed{Address: loco, Steps: dcc.Steps28, Step: 5, Emergency: true},
		"dcc: speed: got a direction to be ignored at step 5, want that only at a stop": dcc.Speed{Address: loco, Steps: dcc.Steps28, Step: 5,
			DirectionIgnored: true},
		"dcc: speed: got a direction to be ignored in 128 steps, want that only in 28 steps": dcc.Speed{Address: loco, Steps: dcc.Steps128,
			DirectionIgnored: true},
		"dcc: decoder control: got control 0, want 1, 3, 5 or 7":            dcc.DecoderControl{Address: loco},
		"dcc: decoder control: got a byte behind factory test, want none":   dcc.DecoderControl{Address: loco, Control: dcc.FactoryTest, HasData: true},
		"dcc: speed and functions: got functions up to F20, want F7 or F15": dcc.SpeedAndFunctions{Address: loco, Last: 20},
		"dcc: short form for two CVs: got CV 18, want CV 17 or 31":          dcc.MainShortWritePair{Address: loco, CV: 18},
		"dcc: address query: got the address long 3, want a short address":  dcc.AddressQuery{Address: dcc.Long(3)},
		"dcc: decoder lock: got the address long 3, want a short address":   dcc.DecoderLock{Address: dcc.Long(3)},
		"dcc: accessory target: got output 1, want an output only with the scope OneOutput": dcc.AccessoryMainWrite{CV: 1,
			Target: dcc.AccessoryTarget{Output: 1}},
		"dcc: combined packet: got 1 instructions, want two or more": dcc.Combined{Address: loco, Instructions: []dcc.Instruction{step}},
		"dcc: combined packet: got idle, want an instruction that can stand beside others": dcc.Combined{Address: loco,
			Instructions: []dcc.Instruction{step, dcc.Idle{}}},
		"dcc: combined packet: got loco 3: speed step 1 of 28, reverse, want an instruction to the address 4": dcc.Combined{Address: dcc.Short(4),
			Instructions: []dcc.Instruction{step, step}},
		"dcc: combined packet: got two instructions of the kind control or consist, want one": dcc.Combined{Address: loco,
			Instructions: []dcc.Instruction{dcc.Reset{Address: loco}, dcc.Consist{Address: loco}}},
	} {
		_, err := i.Packet()
		require.EqualError(t, err, want)
		var out *dcc.ConflictError
		assert.ErrorAs(t, err, &out)
	}
}
