package audit

import (
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// The judge and the codec read the same standards with code of their own. Where they differ it is for a reason.
func TestTheJudgeOfInstructionsAgreesWithTheCodec(t *testing.T) {
	newest := editionsOf(nil)
	rapid.Check(t, func(t *rapid.T) {
		body := rapid.SliceOfN(rapid.Byte(), 2, 5).Draw(t, "bytes")
		if rapid.Bool().Draw(t, "mobile") {
			body[0] = byte(rapid.SampledFrom([]int{0, 3, 105, 111, 112, 127, 192, 231}).Draw(t, "first"))
		}
		p := dcc.Seal(body...)
		service := p.IsService() && rapid.Bool().Draw(t, "service")
		meaning := dcc.Decode(p)
		if service {
			meaning = dcc.DecodeService(p)
		}
		unknown, isUnknown := meaning.(dcc.Unknown)
		why := newest.wrong(p, service)
		if (why != "") == isUnknown {
			return
		}
		if isUnknown {
			switch {
			case p.Partition() == dcc.Reserved, p.Partition() == dcc.AdvancedPartition, p.Partition() == dcc.IdlePartition: // PKT-005
			case mobileWith(p, 0xc0): // PKT-007
			case mobileWith(p, 0xe0), mobileWith(p, 0xe1), mobileWith(p, 0xe2), mobileWith(p, 0xe3): // RCN-217, which the codec does not have
			case mobileWith(p, 0xc1): // the codec knows the calendar
			case mobileWith(p, 0x06), mobileWith(p, 0x07): // flags of any length
			case p.Partition() == dcc.AccessoryPartition && len(p) == 6 && p[2]&0xfc == 0xe0:
			case combined(p): // the codec does not take some of them together
			default:
				assert.Fail(t, "the codec does not know what the judge takes", "%s: %v", p, unknown)
			}
			return
		}
		switch {
		case mobileWith(p, 0x02), mobileWith(p, 0x03): // factory test, which exists, but not for a station
		default:
			assert.Fail(t, "the judge does not take what the codec knows", "%s: %s: %s", p, meaning, why)
		}
	})
}

// mobileWith reports whether a packet to locomotives has an instruction that begins so.
func mobileWith(p dcc.Packet, code byte) bool {
	body, mobile := mobileBody(p)
	for _, b := range body {
		if mobile && b == code {
			return true
		}
	}
	return false
}

func combined(p dcc.Packet) bool {
	body, mobile := mobileBody(p)
	return mobile && len(body) > 1
}

// Typed from the tables of S-9.2.1 C and D (2012), S-9.2.3 E (2012) as bit strings, not made by any code.
func TestInstructionsOfTheTablesOfTheStandards(t *testing.T) {
	newest, oldest := editionsOf(nil), editionsOf(map[string]string{"aspects": "S-9.2.1 (2012)", "functions": "S-9.2.1 (2012)",
		"CV access": "S-9.2.1 (2012)", "system commands": "S-9.2.1 (2012)", "first bytes": "S-9.2.1 (2012)"})
	for _, c := range []struct {
		what        string
		bytes       []byte
		newer, olds bool // legal by the newest and the oldest edition
	}{
		{"reset of one decoder", []byte{3, 0b00000000}, true, true},
		{"hard reset", []byte{3, 0b00000001}, true, true},
		{"factory test", []byte{3, 0b00000010}, false, false},
		{"reserved control", []byte{3, 0b00000100}, false, false},
		{"CV29 bit 5", []byte{3, 0b00001011}, true, true},
		{"acknowledge request", []byte{3, 0b00001111}, true, true},
		{"and beside a reset", []byte{3, 0b00001111, 0b00000000}, true, true},
		{"two control instructions", []byte{3, 0b00000000, 0b00001010}, false, false},
		{"consist 5", []byte{3, 0b00010010, 0b00000101}, true, true},
		{"consist without its address", []byte{3, 0b00010010}, false, false},
		{"consist above 127", []byte{3, 0b00010011, 0b10000101}, false, false},
		{"128 steps", []byte{3, 0b00111111, 0b10000010}, true, true},
		{"restricted speed", []byte{3, 0b00111110, 0b10111111}, true, true},
		{"restricted speed, bit 6", []byte{3, 0b00111110, 0b01000000}, false, false},
		{"reserved advanced operation", []byte{3, 0b00100000, 0}, false, false},
		{"28 steps", []byte{3, 0b01100010}, true, true},
		{"28 steps and functions", []byte{3, 0b01100010, 0b10010000}, true, true},
		{"F13-F20", []byte{3, 0b11011110, 0b11111111}, true, true},
		{"F29-F36", []byte{3, 0b11011000, 0b11111111}, true, false},
		{"binary states off", []byte{3, 0b11000000, 0, 0}, true, true},
		{"reserved expansion", []byte{3, 0b11000011, 0}, false, false},
		{"write CV1", []byte{3, 0b11101100, 0, 5}, true, true},
		{"bit of CV1", []byte{3, 0b11101000, 0, 0b11110000}, true, true},
		{"bit without its ones", []byte{3, 0b11101000, 0, 0b01110000}, false, false},
		{"CC=00", []byte{3, 0b11100000, 0, 5}, true, false},
		{"CV23", []byte{3, 0b11110010, 5}, true, true},
		{"CV17 and CV18", []byte{3, 0b11110100, 192, 5}, true, false},
		{"address query", []byte{3, 0b11111001}, true, true},
		{"address query above 111", []byte{112, 0b11111001}, false, false},
		{"decoder lock", []byte{0, 0b11111001, 3}, true, true},
		{"basic accessory", []byte{0b10000001, 0b11111000}, true, true},
		{"extended accessory, aspect 31", []byte{0b10000001, 0b01110001, 31}, true, true},
		{"extended accessory, aspect 32", []byte{0b10000001, 0b01110001, 32}, true, false},
		{"extended accessory with bit 0 clear", []byte{0b10000001, 0b01110000, 1}, false, false},
		{"old access of accessories", []byte{0b10000001, 0b01111100, 0, 5}, true, true},
		{"access of accessories", []byte{0b10000001, 0b11111000, 0b11101100, 0, 5}, true, true},
		{"no operation", []byte{0b10000001, 0b01111000}, true, false},
	} {
		p := dcc.Seal(c.bytes...)
		assert.Equal(t, c.newer, newest.wrong(p, false) == "", "%s: %s", c.what, newest.wrong(p, false))
		assert.Equal(t, c.olds, oldest.wrong(p, false) == "", "%s in 2012: %s", c.what, oldest.wrong(p, false))
	}
	assert.Empty(t, newest.wrong(dcc.Seal(0b01111100, 0, 3), true))
	assert.NotEmpty(t, newest.wrong(dcc.Seal(0b01110000, 0, 3), true), "CC=00")
	assert.Equal(t, byte(0xa1), crc8([]byte("123456789")), "the published check value")
}

func FuzzInstructions(f *testing.F) {
	f.Add([]byte{3, 0x3f, 0x80})
	f.Add([]byte{0x81, 0x71, 0})
	f.Fuzz(func(t *testing.T, body []byte) {
		if len(body) < 2 || len(body) > 38 {
			return
		}
		p := dcc.Seal(body...)
		for _, e := range []editions{{}, {oldFirstBytes: true, oldAspects: true, oldFunctions: true, oldAccess: true, oldSystem: true}} {
			e.wrong(p, p.IsService())
			e.advanced(p)
		}
		crc8(p)
	})
}
