package dcc_test

import (
	"testing"
	"time"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPacketsSayToWhomTheySpeak(t *testing.T) {
	for _, c := range []struct {
		p         dcc.Packet
		partition dcc.Partition
		address   dcc.Address
		mobile    bool
	}{
		{nil, dcc.Reserved, dcc.Address{}, false},
		{dcc.Seal(0, 0), dcc.BroadcastPartition, dcc.Broadcast, true},
		{dcc.Seal(1, 0), dcc.ShortPartition, dcc.Short(1), true},
		{dcc.Seal(127, 0), dcc.ShortPartition, dcc.Short(127), true},
		{dcc.Seal(128, 0), dcc.AccessoryPartition, dcc.Address{}, false},
		{dcc.Seal(191, 0), dcc.AccessoryPartition, dcc.Address{}, false},
		{dcc.Seal(192, 3, 0), dcc.LongPartition, dcc.Long(3), true},
		{dcc.Seal(231, 255, 0), dcc.LongPartition, dcc.Long(10239), true},
		{dcc.Packet{231, 255}, dcc.LongPartition, dcc.Address{}, false},
		{dcc.Packet{3, 0}, dcc.ShortPartition, dcc.Address{}, false},
		{dcc.Seal(232, 0), dcc.Reserved, dcc.Address{}, false},
		{dcc.Seal(252, 0), dcc.Reserved, dcc.Address{}, false},
		{dcc.Seal(253, 0), dcc.AdvancedPartition, dcc.Address{}, false},
		{dcc.Seal(254, 0), dcc.AdvancedPartition, dcc.Address{}, false},
		{dcc.Seal(255, 0), dcc.IdlePartition, dcc.Address{}, false},
	} { // S-9.2.1 A (July 2012); 253 and 254: S-9.2.1.1, draft of November 2021
		assert.Equal(t, c.partition, c.p.Partition(), "%s", c.p)
		a, mobile := c.p.Address()
		assert.Equal(t, c.address, a, "%s", c.p)
		assert.Equal(t, c.mobile, mobile, "%s", c.p)
	}
	raw, ok := dcc.Packet{0x81, 0xf8, 0x79}.AccessoryAddress()
	assert.True(t, ok)
	assert.EqualValues(t, 4, raw)
	_, ok = dcc.Seal(3, 0).AccessoryAddress()
	assert.False(t, ok)
}

func TestPacketsKnowTheirKind(t *testing.T) {
	assert.True(t, dcc.Seal(0, 0).IsReset())
	assert.False(t, dcc.Seal(0, 1).IsReset())
	assert.False(t, dcc.Packet{0, 0, 0, 0}.IsReset())
	assert.True(t, dcc.Seal(255, 0).IsIdle())
	assert.False(t, dcc.Seal(254, 1).IsIdle())
	for first, service := range map[byte]bool{111: false, 112: true, 127: true, 128: false} {
		assert.Equal(t, service, dcc.Seal(first, 3).IsService(), "%d", first)
		assert.Equal(t, service, dcc.Seal(first, 3, 4).IsService(), "%d", first)
		assert.False(t, dcc.Seal(first, 3, 4, 5).IsService(), "%d", first)
		assert.False(t, dcc.Packet{first, 3, first}.IsService(), "%d", first)
	}
}

func TestValidPacketsAreThoseWhoseBytesCancel(t *testing.T) {
	for _, p := range []dcc.Packet{{}, {0}, {0, 0}, {3, 3}, {3, 0x74, 0x76}} {
		assert.False(t, p.Valid(), "%s", p)
	}
	assert.True(t, dcc.Packet{3, 0x74, 0x77}.Valid())
	assert.Equal(t, "026062", dcc.Seal(2, 0x60).String())
}

// Derived from the bit times of S-9.1 A (2020), with ones of 58 µs and zeros of 100 µs each half.
func TestPacketsTakeTheirTime(t *testing.T) {
	reset, _ := dcc.Reset{}.Packet()
	idle, _ := dcc.Idle{}.Packet()
	write, err := dcc.MainWrite{Address: dcc.Long(1000), CV: 29, Value: 6}.Packet()
	require.NoError(t, err)
	for _, c := range []struct {
		p        dcc.Packet
		preamble int
		bits     int
		ms       float64
	}{
		{reset, 14, 42, 7.14}, {reset, 20, 48, 7.84}, {idle, 14, 42, 5.80}, {idle, 20, 48, 6.49}, {write, 14, 69, 10.52},
	} {
		assert.Equal(t, c.bits, c.p.Bits(c.preamble))
		took := c.p.Duration(c.preamble, 58*time.Microsecond, 100*time.Microsecond)
		assert.InDelta(t, c.ms, float64(took)/1e6, 0.006, "%s", c.p)
	}
}
