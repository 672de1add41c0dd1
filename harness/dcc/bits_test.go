package dcc_test

import (
	"strings"
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestBitsAreOrderedAsTheStandardPrintsThem(t *testing.T) {
	// S-9.2 figure 1 (July 2004): locomotive 55, forward, step 6; bits derived from figure 2.
	const printed = "111111111111 0 00110111 0 01110100 0 01000011 1"
	p, preamble, err := dcc.ParseBits(printed)
	require.NoError(t, err)
	assert.Equal(t, 12, preamble)
	assert.Equal(t, dcc.Packet{0x37, 0x74, 0x43}, p)
	assert.Equal(t, printed, p.BitString(12))
	var text strings.Builder
	for _, bit := range p.AppendBits(nil, 12) {
		text.WriteByte('0' + bit)
	}
	assert.Equal(t, strings.ReplaceAll(printed, " ", ""), text.String())
}

func TestBitsLeadBackToTheirPacket(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := dcc.Packet(rapid.SliceOfN(rapid.Byte(), 1, 8).Draw(t, "bytes"))
		preamble := rapid.IntRange(0, 30).Draw(t, "preamble")
		bits := p.AppendBits(nil, preamble)
		require.Len(t, bits, p.Bits(preamble))
		q, n, err := dcc.FromBits(bits)
		require.NoError(t, err)
		require.Equal(t, p, q)
		require.Equal(t, preamble, n)
		q, n, err = dcc.ParseBits(p.BitString(preamble))
		require.NoError(t, err)
		require.Equal(t, p, q)
		require.Equal(t, preamble, n)
	})
}

func TestBitsThatAreNoPacketAreRefusedWhereTheyEnd(t *testing.T) {
	for bits, want := range map[string]string{
		"":                  "dcc: bits: after bit 0: got the end of the bits, want a start bit or the end bit",
		"1111":              "dcc: bits: after bit 4: got the end of the bits, want a start bit or the end bit",
		"11 0 0000":         "dcc: bits: after bit 7: got the end of the bits, want the rest of a byte",
		"11 0 00000000":     "dcc: bits: after bit 11: got the end of the bits, want a start bit or the end bit",
		"11 0 00000000 1 1": "dcc: bits: after bit 12: got more bits, want none after the end bit",
		"11 0 00000000 1 0": "dcc: bits: after bit 12: got more bits, want none after the end bit",
		"11 0 0000x000 1":   "dcc: bits: after bit 7: got 'x', want 0, 1 or a space",
	} {
		_, _, err := dcc.ParseBits(bits)
		assert.EqualError(t, err, want, bits)
	}
	_, _, err := dcc.FromBits([]byte{1, 2})
	assert.EqualError(t, err, "dcc: bits: after bit 1: got 2, want 0 or 1")
	_, _, err = dcc.FromBits([]byte{1, 0, 0, 0, 0, 7, 0, 0, 0, 0, 1})
	assert.EqualError(t, err, "dcc: bits: after bit 5: got 7, want 0 or 1")
}
