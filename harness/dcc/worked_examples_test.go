package dcc_test

import (
	"encoding/hex"
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// An example is a packet whose bits or bytes were written down apart from the code.
type example struct {
	source  string // standard and section; "derived" = computed by hand from it
	packet  string // as printed: bits, or bytes in hexadecimal
	means   dcc.Instruction
	meaning string
}

func (e example) bytes(t *testing.T) dcc.Packet {
	if b, err := hex.DecodeString(e.packet); err == nil && len(b) <= dcc.MaxPacketBytes {
		return b
	}
	p, _, err := dcc.ParseBits(e.packet)
	require.NoError(t, err, e.packet)
	return p
}

func check(t *testing.T, examples []example, decode func(dcc.Packet) dcc.Instruction) {
	for _, e := range examples {
		t.Run(e.meaning, func(t *testing.T) {
			want := e.bytes(t)
			require.True(t, want.Valid(), "the example itself: %s", e.packet)
			got, err := e.means.Packet()
			require.NoError(t, err)
			assert.Equal(t, want.String(), got.String(), e.source)
			assert.Equal(t, e.means, decode(want), e.source)
			assert.Equal(t, e.meaning, e.means.String(), e.source)
		})
	}
}

var baseline = []example{
	{"S-9.2 B, printed", "111111111111 0 00000000 0 00000000 0 00000000 1", dcc.Reset{}, "reset"},
	{"S-9.2 B, printed", "111111111111 0 11111111 0 00000000 0 11111111 1", dcc.Idle{}, "idle"},
	{"S-9.2 figure 1, bits derived from figure 2", "111111111111 0 00110111 0 01110100 0 01000011 1",
		dcc.Speed{Address: dcc.Short(55), Steps: dcc.Steps28, Direction: dcc.Forward, Step: 6},
		"loco 55: speed step 6 of 28, forward"},
	{"S-9.2 B, derived", "006060", dcc.BroadcastStop{Direction: dcc.Forward}, "all locos: stop, forward"},
	{"S-9.2 B, derived", "006161", dcc.BroadcastStop{Direction: dcc.Forward, Immediate: true},
		"all locos: emergency stop, forward"},
	{"S-9.2 B, derived", "005050", dcc.BroadcastStop{DirectionIgnored: true},
		"all locos: stop, reverse (direction may be ignored)"},
	{"S-9.2 B, derived", "005151", dcc.BroadcastStop{Immediate: true, DirectionIgnored: true},
		"all locos: emergency stop, reverse (direction may be ignored)"},
	{"S-9.2 B with figure 2, derived", "034043", dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps28}, "loco 3: stop, reverse"},
	{"S-9.2 B with figure 2, derived", "037172",
		dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps28, Direction: dcc.Forward, Emergency: true, DirectionIgnored: true},
		"loco 3: emergency stop, forward (direction may be ignored)"},
}

var extended = []example{
	{"S-9.2.1 C, derived", "033f80bc", dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps128, Direction: dcc.Forward},
		"loco 3: stop, forward"},
	{"S-9.2.1 C, derived", "033f82be", dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps128, Direction: dcc.Forward, Step: 1},
		"loco 3: speed step 1 of 128, forward"},
	{"S-9.2.1 C, derived", "033fffc3", dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps128, Direction: dcc.Forward, Step: 126},
		"loco 3: speed step 126 of 128, forward"},
	{"S-9.2.1 C, derived", "033f013d", dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps128, Emergency: true},
		"loco 3: emergency stop, reverse"},
	{"S-9.2.1 C, derived", "c0807f3f", dcc.Speed{Address: dcc.Long(128), Steps: dcc.Steps28, Direction: dcc.Forward, Step: 28},
		"loco long 128: speed step 28 of 28, forward"},
	{"S-9.2.1 C, derived", "c3e87f54", dcc.Speed{Address: dcc.Long(1000), Steps: dcc.Steps28, Direction: dcc.Forward, Step: 28},
		"loco long 1000: speed step 28 of 28, forward"},
	{"S-9.2.1 C, derived", "e7ff7f67", dcc.Speed{Address: dcc.Long(10239), Steps: dcc.Steps28, Direction: dcc.Forward, Step: 28},
		"loco long 10239: speed step 28 of 28, forward"},
	{"S-9.2.1 C, derived", "03ec0005ea", dcc.MainWrite{Address: dcc.Short(3), CV: 1, Value: 5},
		"loco 3: CV 1 write 5 (on the main)"},
	{"S-9.2.1 C, derived", "c3e8ec1c06dd", dcc.MainWrite{Address: dcc.Long(1000), CV: 29, Value: 6},
		"loco long 1000: CV 29 write 6 (on the main)"},
	{"S-9.2.1 C, 111001VV VVVVVVVV DDDDDDDD, by hand", "1111111111 0 00000011 0 11100111 0 11111111 0 00000111 0 00011100 1",
		dcc.MainVerify{Address: dcc.Short(3), CV: 1024, Value: 7}, "loco 3: CV 1024 verify 7 (on the main)"},
	{"S-9.2.1 C, 111CDBBB, by hand", "1111111111 0 00000011 0 11101000 0 00011100 0 11111101 0 00001010 1",
		dcc.MainBit{Address: dcc.Short(3), CV: 29, Write: true, Bit: 5, Value: 1}, "loco 3: CV 29 bit 5 write 1 (on the main)"},
	{"S-9.2.1 C, 11110010, by hand", "03f28574", dcc.MainShortWrite{Address: dcc.Short(3), CV: 23, Value: 0x85},
		"loco 3: CV 23 write 133 (on the main, short form)"},
	{"S-9.2.1 C, 11110011, by hand", "03f300f0", dcc.MainShortWrite{Address: dcc.Short(3), CV: 24},
		"loco 3: CV 24 write 0 (on the main, short form)"},
	{"RCN-214 3, from memory", "03f4c10335", dcc.MainShortWritePair{Address: dcc.Short(3), CV: 17, Values: [2]byte{0xc1, 3}},
		"loco 3: CV 17 write 193, CV 18 write 3 (on the main, short form)"},
	{"S-9.2.1 C, 11000000 0 00000000 0 00000000 printed", "03c00000c3", dcc.AllBinaryStates{Address: dcc.Short(3), Long: true},
		"loco 3: all binary states 1-32767 off"},
	{"S-9.2.1 C, 11011101 0 00000000 printed", "03dd00de", dcc.AllBinaryStates{Address: dcc.Short(3)},
		"loco 3: all binary states 1-127 off"},
	{"S-9.2.1 C, 11011101 DLLLLLLL, by hand", "03dd855b", dcc.BinaryState{Address: dcc.Short(3), Number: 5, On: true},
		"loco 3: binary state 5 on"},
	{"S-9.2.1 C, 11000000 DLLLLLLL HHHHHHHH, 300 = 2·128 + 44, by hand", "03c0ac026d",
		dcc.BinaryState{Address: dcc.Short(3), Number: 300, On: true}, "loco 3: binary state 300 on"},
	{"S-9.2.1 C, 100DDDDD with FL in bit 4, by hand", "029092", dcc.Functions{Address: dcc.Short(2), Group: dcc.F0F4, States: 1},
		"loco 2: F0 on, F1-F4 off"},
	{"S-9.2.1 C, 100DDDDD, F1 and F3, by hand", "028587", dcc.Functions{Address: dcc.Short(2), Group: dcc.F0F4, States: 0b01010},
		"loco 2: F1 on, F3 on, F0 off, F2 off, F4 off"},
	{"S-9.2.1 C, 1011DDDD, by hand", "02b1b3", dcc.Functions{Address: dcc.Short(2), Group: dcc.F5F8, States: 1},
		"loco 2: F5 on, F6-F8 off"},
	{"S-9.2.1 C, 1010DDDD, by hand", "02a8aa", dcc.Functions{Address: dcc.Short(2), Group: dcc.F9F12, States: 8},
		"loco 2: F12 on, F9-F11 off"},
	{"S-9.2.1 C, 11011110, by hand", "02de01dd", dcc.Functions{Address: dcc.Short(2), Group: dcc.F13F20, States: 1},
		"loco 2: F13 on, F14-F20 off"},
	{"S-9.2.1 C, 11011111, by hand", "02df805d", dcc.Functions{Address: dcc.Short(2), Group: dcc.F21F28, States: 0x80},
		"loco 2: F28 on, F21-F27 off"},
	{"RCN-212, 11011000, from memory", "02d801db", dcc.Functions{Address: dcc.Short(2), Group: dcc.F29F36, States: 1},
		"loco 2: F29 on, F30-F36 off"},
	{"RCN-212, 11011001, from memory", "02d901da", dcc.Functions{Address: dcc.Short(2), Group: dcc.F37F44, States: 1},
		"loco 2: F37 on, F38-F44 off"},
	{"RCN-212, 11011010, from memory", "02da01d9", dcc.Functions{Address: dcc.Short(2), Group: dcc.F45F52, States: 1},
		"loco 2: F45 on, F46-F52 off"},
	{"RCN-212, 11011011, from memory", "02db01d8", dcc.Functions{Address: dcc.Short(2), Group: dcc.F53F60, States: 1},
		"loco 2: F53 on, F54-F60 off"},
	{"RCN-212, 11011100, from memory", "02dc01df", dcc.Functions{Address: dcc.Short(2), Group: dcc.F61F68, States: 1},
		"loco 2: F61 on, F62-F68 off"},
	{"RCN-212, 00111100 DSSSSSSS, from memory", "033c8301bd", dcc.SpeedAndFunctions{Address: dcc.Short(3), Direction: dcc.Forward,
		Step: 2, Last: 7, States: 1}, "loco 3: speed step 2 of 128, forward, F0 on, F1-F7 off"},
	{"S-9.2.1 C, 00010010 0AAAAAAA, by hand", "03122233", dcc.Consist{Address: dcc.Short(3), Consist: 34}, "loco 3: consist 34"},
	{"S-9.2.1 C, 00010011 0AAAAAAA, by hand", "03132232", dcc.Consist{Address: dcc.Short(3), Consist: 34, Reversed: true},
		"loco 3: consist 34, reversed"},
	{"S-9.2.1 C, consist address 0, by hand", "03120011", dcc.Consist{Address: dcc.Short(3)}, "loco 3: out of its consist"},
	{"S-9.2.1 C, 00000000, by hand", "030003", dcc.Reset{Address: dcc.Short(3)}, "loco 3: reset"},
	{"S-9.2.1 C, 00000001, by hand", "000101", dcc.Reset{Hard: true}, "hard reset"},
	{"S-9.2.1 C, 0000001D, by hand", "030300", dcc.DecoderControl{Address: dcc.Short(3), Control: dcc.FactoryTest, On: true},
		"loco 3: factory test on"},
	{"S-9.2.1 C, 0000011D, by hand", "030704", dcc.DecoderControl{Address: dcc.Short(3), Control: dcc.SetFlags, On: true},
		"loco 3: decoder flags on"},
	{"S-9.2.1 C, 0000101D, by hand", "030b08", dcc.DecoderControl{Address: dcc.Short(3), Control: dcc.SetLongAddress, On: true},
		"loco 3: long address (CV 29 bit 5) on"},
	{"S-9.2.1 C, 0000111D, by hand", "030f0c", dcc.DecoderControl{Address: dcc.Short(3), Control: dcc.AcknowledgeRequest, On: true},
		"loco 3: acknowledge request on"},
	{"S-9.2.1 C, 00111110, bit 7 zero to enable, by hand", "033e3409",
		dcc.RestrictedSpeed{Address: dcc.Short(3), Enabled: true, Direction: dcc.Forward, Step: 6},
		"loco 3: restricted speed on: speed step 6 of 28, forward"},
	{"S-9.2.1 C, 00111101 00000001, by hand", "033d01c8f7", dcc.AnalogFunction{Address: dcc.Short(3), Function: dcc.Volume, Value: 200},
		"loco 3: volume 200"},
	{"S-9.2.1 C, two instructions in a packet, by hand", "037490e7", dcc.Combined{Address: dcc.Short(3), Instructions: []dcc.Instruction{
		dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps28, Direction: dcc.Forward, Step: 6},
		dcc.Functions{Address: dcc.Short(3), Group: dcc.F0F4, States: 1}}},
		"loco 3: speed step 6 of 28, forward + F0 on, F1-F4 off"},
	{"RCN-211 4.3, from memory", "00c11e2c8477", dcc.ModelTime{Weekday: 1, Hour: 12, Minute: 30, Changed: true, Factor: 4},
		"model time 12:30, weekday 1, factor 4, changed"},
	{"RCN-211 4.3, from memory", "00c14957ea35", dcc.ModelDate{Year: 2026, Month: 5, Day: 9}, "model date 2026-05-09"},
	{"RCN-211 4.3, from memory", "00c203e829", dcc.SystemTime{Milliseconds: 1000}, "system time 1000 ms"},
}

var accessories = []example{
	{"S-9.2.1 D, derived", "81f879", dcc.Accessory{Decoder: 1, Activate: true},
		"accessory decoder 1 pair 0 output 0 on (accessory 1, or 5 counted from raw 0)"},
	{"S-9.2.1 D, derived", "81f978", dcc.Accessory{Decoder: 1, Output: 1, Activate: true},
		"accessory decoder 1 pair 0 output 1 on (accessory 1, or 5 counted from raw 0)"},
	{"S-9.2.1 D, decoder 78 = 001 001110, high bits inverted 110, by hand", "1111111111 0 10001110 0 11101011 0 01100101 1",
		dcc.Accessory{Decoder: 78, Pair: 1, Output: 1, Activate: true},
		"accessory decoder 78 pair 1 output 1 on (accessory 310, or 314 counted from raw 0)"},
	{"S-9.2.1 D, derived", "817100f0", dcc.AccessoryAspect{Address: 4},
		"accessory address 4 aspect 0, stop (accessory 1, or 5 counted from raw 0)"},
	{"S-9.2.1 D, derived", "bf0700b8", dcc.AspectBroadcast{}, "all extended accessory decoders aspect 0, stop"},
	{"S-9.2.1 D, 10111111 0 00000111 0 000XXXXX printed", "1111111111 0 10111111 0 00000111 0 00010101 0 10101101 1",
		dcc.AspectBroadcast{Aspect: 21}, "all extended accessory decoders aspect 21"},
	{"S-9.2.1 D, 10111111 0 1000CDDD printed", "1111111111 0 10111111 0 10001011 0 00110100 1",
		dcc.AccessoryBroadcast{Pair: 1, Output: 1, Activate: true}, "all accessory decoders pair 1 output 1 on"},
	{"RCN-213, 1011-1111 1000-0110, from memory", "bf8639", dcc.EmergencyOff,
		"all accessory decoders pair 3 output 0 off (emergency off)"},
	{"RCN-213, 10AAAAAA 0AAA1AAT, from memory", "8178f9", dcc.AccessoryNOP{Address: 4},
		"basic accessory address 4 no operation (accessory 1, or 5 counted from raw 0)"},
	{"S-9.2.1 D, 1AAA0000 1110CCVV, by hand", "81f0ec1c0687", dcc.AccessoryMainWrite{
		Target: dcc.AccessoryTarget{Scope: dcc.WholeDecoder, Address: 1}, CV: 29, Value: 6},
		"accessory decoder 1: CV 29 write 6 (on the main)"},
	{"S-9.2.1 D, 1AAA1DDD 1110CCVV, by hand", "81fbe41c0684", dcc.AccessoryMainVerify{
		Target: dcc.AccessoryTarget{Scope: dcc.OneOutput, Address: 1, Output: 3}, CV: 29, Value: 6},
		"accessory decoder 1 pair 1 output 1: CV 29 verify 6 (on the main)"},
	{"S-9.2.1 D, 0AAA0AA1 1110CCVV, by hand", "8171e81cfdf9", dcc.AccessoryMainBit{
		Target: dcc.AccessoryTarget{Scope: dcc.ExtendedAddress, Address: 4}, CV: 29, Write: true, Bit: 5, Value: 1},
		"accessory address 4: CV 29 bit 5 write 1 (on the main)"},
	{"S-9.2.1 appendix A, 0AAA11VV, by hand", "817c1c06e7", dcc.LegacyAccessoryWrite{Decoder: 1, CV: 29, Value: 6},
		"accessory decoder 1: CV 29 write 6 (legacy form)"},
}

var service = []example{
	{"S-9.2.3 E, printed", "11111111111111111111 0 01111101 0 00000001 0 01111100 1", dcc.PagePreset{}, "page preset"},
	{"S-9.2.3 E, printed", "11111111111111111111 0 01111111 0 00001000 0 01110111 1", dcc.FactoryReset{}, "factory reset"},
	{"S-9.2.3 E, derived", "74000377", dcc.DirectVerify{CV: 1, Value: 3}, "CV 1 verify 3 (direct)"},
	{"S-9.2.3 E, derived", "7c00037f", dcc.DirectWrite{CV: 1, Value: 3}, "CV 1 write 3 (direct)"},
	{"S-9.2.3 E, derived", "7807e798", dcc.DirectBit{CV: 8, Bit: 7}, "CV 8 bit 7 verify 0 (direct)"},
	{"S-9.2.3 E, derived", "7807ef90", dcc.DirectBit{CV: 8, Bit: 7, Value: 1}, "CV 8 bit 7 verify 1 (direct)"},
	{"S-9.2.3 E, derived", "781cfd99", dcc.DirectBit{CV: 29, Write: true, Bit: 5, Value: 1}, "CV 29 bit 5 write 1 (direct)"},
	{"S-9.2.3 E, derived", "77ff0088", dcc.DirectVerify{CV: 1024}, "CV 1024 verify 0 (direct)"},
	{"S-9.2.3 E, CV29 = 6, by hand", "7c1c0666", dcc.DirectWrite{CV: 29, Value: 6}, "CV 29 write 6 (direct)"},
	{"S-9.2.3 E, derived", "78037b", dcc.Register{Write: true, Register: 1, Value: 3},
		"register 1 write 3 (register, paged or address-only)"},
	{"S-9.2.3 E, derived", "700373", dcc.Register{Register: 1, Value: 3},
		"register 1 verify 3 (register, paged or address-only)"},
	{"S-9.2.3 E, derived", "7d116c", dcc.Register{Write: true, Register: dcc.PageRegister, Value: 17},
		"register 6 write 17 (page of CV 65-68)"},
	{"S-9.2.3 E, derived", "700070", dcc.Register{Register: 1}, "register 1 verify 0 (register, paged or address-only)"},
	{"S-9.2.3 E, RRR = 100 is CV29, by hand", "7c067a", dcc.Register{Write: true, Register: 5, Value: 6}, "register 5 write 6 (register)"},
	{"S-9.2.3 appendix A, derived", "03f9fa", dcc.AddressQuery{Address: dcc.Short(3)}, "loco 3: address query"},
	{"S-9.2.3 appendix B, derived", "00f903fa", dcc.DecoderLock{Address: dcc.Short(3)}, "decoder lock, all but loco 3"},
	{"S-9.2 B, printed", "000000", dcc.Reset{}, "reset"},
}

func TestBaselinePacketsAreThoseOfTheStandard(t *testing.T)  { check(t, baseline, dcc.Decode) }
func TestExtendedPacketsAreThoseOfTheStandard(t *testing.T)  { check(t, extended, dcc.Decode) }
func TestAccessoryPacketsAreThoseOfTheStandard(t *testing.T) { check(t, accessories, dcc.Decode) }
func TestServicePacketsAreThoseOfTheStandard(t *testing.T)   { check(t, service, dcc.DecodeService) }

// S-9.2.3 E (July 2012): address-only, 0111C000 0DDDDDDD; derived vectors.
func TestAddressOnlyPacketsAreThoseOfRegisterOne(t *testing.T) {
	for want, i := range map[string]dcc.AddressOnly{
		"78037b": {Write: true, Address: 3},
		"700373": {Address: 3},
	} {
		p, err := i.Packet()
		require.NoError(t, err)
		assert.Equal(t, want, p.String())
	}
	assert.Equal(t, "address write 3 (address-only)", dcc.AddressOnly{Write: true, Address: 3}.String())
}
