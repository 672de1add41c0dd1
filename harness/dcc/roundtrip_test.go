package dcc_test

import (
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestEveryInstructionSurvivesThePacket(t *testing.T) {
	for name, instructions := range operating {
		t.Run(name, func(t *testing.T) { roundTrip(t, instructions, dcc.Decode) })
	}
	for name, instructions := range programming {
		t.Run(name, func(t *testing.T) { roundTrip(t, instructions, dcc.DecodeService) })
	}
}

func roundTrip(t *testing.T, instructions *rapid.Generator[dcc.Instruction], decode func(dcc.Packet) dcc.Instruction) {
	rapid.Check(t, func(t *rapid.T) {
		i := instructions.Draw(t, "instruction")
		p, err := i.Packet()
		require.NoError(t, err)
		require.True(t, p.Valid())
		require.LessOrEqual(t, len(p), dcc.MaxPacketBytes)
		require.Equal(t, i, decode(p))
		again, err := i.AppendPacket([]byte{1, 2})
		require.NoError(t, err)
		require.Equal(t, append([]byte{1, 2}, p...), again)
		require.NotEmpty(t, i.String())
	})
}

// holdsItsBytes is what must be true of any bytes at all.
func holdsItsBytes(t require.TestingT, p dcc.Packet) {
	before := append(dcc.Packet(nil), p...)
	var l dcc.Listener
	for _, i := range []dcc.Instruction{dcc.Decode(p), dcc.DecodeService(p), l.Hear(p, 0, 0)} {
		again, err := i.Packet()
		require.NoError(t, err, "%s as %#v", p, i)
		require.Equal(t, p.String(), again.String(), "%#v", i)
		require.NotEmpty(t, i.String())
		u, isUnknown := i.(dcc.Unknown)
		if isUnknown {
			require.NotEmpty(t, u.Reason)
		} else {
			require.True(t, p.Valid(), "%s has a meaning: %v", p, i)
		}
	}
	require.Equal(t, before, append(dcc.Packet(nil), p...), "decoding changed the packet")
}

func TestEveryPacketOfThreeBytesIsItsInstruction(t *testing.T) {
	for a := range 256 {
		for b := range 256 {
			p := dcc.Seal(byte(a), byte(b))
			got, err := dcc.Decode(p).Packet()
			if err != nil || !got.Equal(p) {
				t.Fatalf("%s: %#v gives %s, %v", p, dcc.Decode(p), got, err)
			}
			got, err = dcc.DecodeService(p).Packet()
			if err != nil || !got.Equal(p) {
				t.Fatalf("%s: %#v gives %s, %v", p, dcc.DecodeService(p), got, err)
			}
		}
	}
}

func TestEveryValidPacketIsItsInstruction(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		holdsItsBytes(t, dcc.Seal(rapid.SliceOfN(rapid.Byte(), 2, 7).Draw(t, "body")...))
	})
}

// Packets made of the codes that begin instructions hold combined packets far more often than any packets do; here is each
// one of them.
func TestEveryCombinationOfInstructionsIsItsInstruction(t *testing.T) {
	codes := []byte{0x00, 0x01, 0x03, 0x06, 0x07, 0x0b, 0x0f, 0x12, 0x13, 0x3c, 0x3d, 0x3e, 0x3f, 0x40, 0x51, 0x74, 0x90, 0xa1, 0xb1,
		0xc0, 0xc1, 0xc2, 0xdd, 0xde, 0xdf, 0xd8, 0xdc, 0xe4, 0xe8, 0xec, 0xf2, 0xf4, 0xf9}
	combined := 0
	check := func(body ...byte) {
		p := dcc.Seal(body...)
		holdsItsBytes(t, p)
		if _, ok := dcc.Decode(p).(dcc.Combined); ok {
			combined++
		}
	}
	for _, address := range []byte{0, 3, 116, 0x81, 0xbf, 0xc3} {
		for _, one := range codes {
			check(address, one)
			for _, two := range codes {
				check(address, one, two)
				for _, three := range codes {
					check(address, one, two, three)
				}
			}
		}
	}
	assert.Positive(t, combined, "no packet is a combined one")
}

func FuzzDecode(f *testing.F) {
	for _, examples := range [][]example{baseline, extended, accessories, service} {
		for _, e := range examples {
			p, err := e.means.Packet()
			if err != nil {
				f.Fatal(err)
			}
			f.Add([]byte(p))
		}
	}
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		holdsItsBytes(t, b)
		if len(b) > 1 {
			holdsItsBytes(t, dcc.Seal(b...)) // the fuzzer seldom finds an error byte by itself
		}
	})
}
