package dcc_test

import (
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
)

func BenchmarkDecode(b *testing.B) {
	for name, p := range map[string]dcc.Packet{
		"idle":      dcc.Seal(0xff, 0),
		"speed":     dcc.Seal(3, 0x3f, 0x82),
		"functions": dcc.Seal(0xc3, 0xe8, 0x90),
		"accessory": dcc.Seal(0x81, 0xf8),
		"main":      dcc.Seal(0xc3, 0xe8, 0xec, 0x1c, 6),
		"combined":  dcc.Seal(3, 0x74, 0x90),
		"unknown":   dcc.Seal(232, 0),
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				dcc.Decode(p)
			}
		})
	}
}

func BenchmarkAppendPacket(b *testing.B) {
	i := dcc.Speed{Address: dcc.Long(1000), Steps: dcc.Steps128, Direction: dcc.Forward, Step: 100}
	buffer := make([]byte, 0, dcc.MaxPacketBytes)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := i.AppendPacket(buffer); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMeaning(b *testing.B) {
	i := dcc.Speed{Address: dcc.Long(1000), Steps: dcc.Steps128, Direction: dcc.Forward, Step: 100}
	for b.Loop() {
		_ = i.String()
	}
}

func TestEncodingDoesNotAllocate(t *testing.T) {
	buffer := make([]byte, 0, dcc.MaxPacketBytes)
	for _, examples := range [][]example{baseline, extended, accessories, service} {
		for _, e := range examples {
			i := e.means
			assert.Zero(t, testing.AllocsPerRun(10, func() { _, _ = i.AppendPacket(buffer) }), e.meaning)
		}
	}
}

func TestLookingForTheAddressDoesNotAllocate(t *testing.T) {
	p := dcc.Seal(0xc3, 0xe8, 0x90)
	var a dcc.Address
	assert.Zero(t, testing.AllocsPerRun(10, func() { a, _ = p.Address() }))
	assert.Equal(t, dcc.Long(1000), a)
}
