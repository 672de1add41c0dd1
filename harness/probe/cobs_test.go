package probe

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func sequence(from, to int) (p []byte) {
	for i := from; i <= to; i++ {
		p = append(p, byte(i))
	}
	return p
}

func TestStuffingIsThatOfThePaper(t *testing.T) {
	for name, c := range map[string]struct{ plain, stuffed []byte }{
		// Cheshire and Baker 1999, the beginning of an IP header as their worked example (from memory).
		"paper": {[]byte{0x45, 0, 0, 0x2c, 0x4c, 0x79, 0, 0, 0x40, 0x06, 0x4f, 0x37},
			[]byte{2, 0x45, 1, 4, 0x2c, 0x4c, 0x79, 1, 5, 0x40, 0x06, 0x4f, 0x37}},
		// What follows is by the rule, with pencil and paper.
		"nothing":              {nil, []byte{1}},
		"a zero":               {[]byte{0}, []byte{1, 1}},
		"zeros":                {[]byte{0, 0, 0}, []byte{1, 1, 1, 1}},
		"a zero at the end":    {[]byte{7, 0}, []byte{2, 7, 1}},
		"the longest block":    {sequence(1, 254), append([]byte{255}, sequence(1, 254)...)},
		"one less with a zero": {append(sequence(1, 253), 0), append(append([]byte{254}, sequence(1, 253)...), 1)},
	} {
		assert.Equal(t, c.stuffed, appendStuffed(nil, c.plain), name)
		into := make([]byte, 256)
		n, ok := unstuff(into, c.stuffed)
		assert.True(t, ok, name)
		assert.True(t, bytes.Equal(c.plain, into[:n]), name)
	}
}

func TestStuffedBytesHaveNoZeroAndComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plain := rapid.SliceOfN(rapid.OneOf(rapid.Byte(), rapid.Just(byte(0))), 0, MaxFrame).Draw(t, "plain")
		stuffed := appendStuffed(nil, plain)
		require.NotContains(t, stuffed, byte(0))
		require.Len(t, stuffed, len(plain)+1)
		into := make([]byte, 256)
		n, ok := unstuff(into, stuffed)
		require.True(t, ok)
		require.True(t, bytes.Equal(plain, into[:n]))
	})
}

func TestBytesThatAreNotStuffedAreRefused(t *testing.T) {
	for _, p := range [][]byte{{2}, {3, 1}, {5, 1, 2, 3}, {1, 2, 9, 9}, {255, 1, 2}} {
		_, ok := unstuff(make([]byte, 256), p)
		assert.False(t, ok, "% x", p)
	}
}
