package dcc_test

import (
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestNumbersLeadToDecoderAndPair(t *testing.T) {
	for _, c := range []struct {
		source    string
		numbering dcc.Numbering
		number    int
		decoder   uint16
		pair      uint8
	}{
		{"RCN-213 (July 2015): user address 1 is raw address 4", dcc.FirstIsRawFour, 1, 1, 0},
		{"RCN-213 (July 2015), derived", dcc.FirstIsRawFour, 4, 1, 3},
		{"RCN-213 (July 2015), derived", dcc.FirstIsRawFour, 5, 2, 0},
		{"RCN-213 (July 2015), derived", dcc.FirstIsRawFour, 310, 78, 1},
		{"RCN-213 (July 2015), derived", dcc.FirstIsRawFour, 2040, 510, 3},
		{"RCN-213 (July 2015): raw 0..3 at the end of the range", dcc.FirstIsRawFour, 2041, 0, 0},
		{"RCN-213 (July 2015): raw 0..3 at the end of the range", dcc.FirstIsRawFour, 2044, 0, 3},
		{"S-9.2.2 (July 2012), output formula: CV1 = 1, CV9 = 0 is output 0", dcc.FirstIsRawZero, 1, 0, 0},
		{"S-9.2.2 (July 2012), output formula, derived", dcc.FirstIsRawZero, 5, 1, 0},
		{"S-9.2.2 (July 2012), output formula: CV1 = 0, CV9 = 1", dcc.FirstIsRawZero, 256, 63, 3},
		{"S-9.2.2 (July 2012), output formula, derived", dcc.FirstIsRawZero, 2044, 510, 3},
	} {
		a, err := c.numbering.Accessory(c.number, 1, true)
		require.NoError(t, err)
		assert.Equal(t, dcc.Accessory{Decoder: c.decoder, Pair: c.pair, Output: 1, Activate: true}, a, c.source)
		assert.Equal(t, c.number, c.numbering.Number(a), c.source)
		s, err := c.numbering.Aspect(c.number, 5)
		require.NoError(t, err)
		assert.Equal(t, dcc.AccessoryAspect{Address: c.decoder*4 + uint16(c.pair), Aspect: 5}, s, c.source)
		assert.Equal(t, c.number, c.numbering.AspectNumber(s), c.source)
	}
}

func TestEveryNumberHasOneAddress(t *testing.T) {
	for _, n := range []dcc.Numbering{dcc.FirstIsRawFour, dcc.FirstIsRawZero} {
		seen := map[uint16]bool{}
		for number := 1; number <= dcc.MaxAccessoryNumber; number++ {
			raw, err := n.Raw(number)
			require.NoError(t, err)
			require.False(t, seen[raw], "%v: %d", n, number)
			require.Equal(t, number, n.NumberOf(raw), "%v", n)
			seen[raw] = true
			a, err := n.Accessory(number, 0, false)
			require.NoError(t, err)
			_, err = a.Packet()
			require.NoError(t, err, "%v: %d", n, number)
		}
		for raw := uint16(2044); raw <= 2047; raw++ {
			assert.Zero(t, n.NumberOf(raw))
		}
	}
}

func TestNumbersWithoutAnAddressAreRefused(t *testing.T) {
	_, err := dcc.FirstIsRawFour.Accessory(0, 0, true)
	assert.EqualError(t, err, "dcc: accessory number: got 0, want 1..2044")
	_, err = dcc.FirstIsRawFour.Accessory(2045, 0, true)
	assert.EqualError(t, err, "dcc: accessory number: got 2045, want 1..2044")
	_, err = dcc.FirstIsRawZero.Accessory(1, 2, true)
	assert.EqualError(t, err, "dcc: accessory output: got 2, want 0..1")
	_, err = dcc.FirstIsRawZero.Aspect(-1, 0)
	assert.EqualError(t, err, "dcc: accessory number: got -1, want 1..2044")
	_, err = dcc.Numbering(2).Accessory(1, 0, true)
	assert.EqualError(t, err, "dcc: numbering: got 2, want 0..1")
}

// S-9.2.2 (July 2012), text of table 3: output O = CV1 + CV9·256 - 1; its bits 0-1 are bits 1-2 of byte 2, its bits 2-7
// are bits 0-5 of byte 1, and the three low bits of CV9 are the ones' complement of bits 4-6 of byte 2.
func TestRawAddressesStandInThePacketAsTheCVsSay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		raw := rapid.Uint16Range(0, 2043).Draw(t, "raw")
		a := dcc.Accessory{Decoder: raw / 4, Pair: uint8(raw % 4)}
		p, err := a.Packet()
		require.NoError(t, err)
		require.Equal(t, byte(raw&3), p[1]>>1&3)
		require.Equal(t, byte(raw>>2&0x3f), p[0]&0x3f)
		require.Equal(t, 7-byte(raw>>8), p[1]>>4&7)
		got, ok := p.AccessoryAddress()
		require.True(t, ok)
		require.Equal(t, raw, got)
	})
}
