package dcc_test

import (
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// S-9.2.1 C (July 2012) up to F28; RCN-212 from F29, from memory.
func TestEveryFunctionHasItsGroupAndBit(t *testing.T) {
	for _, c := range []struct {
		first, last int
		group       dcc.FunctionGroup
		name        string
	}{
		{0, 4, dcc.F0F4, "F0-F4"}, {5, 8, dcc.F5F8, "F5-F8"}, {9, 12, dcc.F9F12, "F9-F12"}, {13, 20, dcc.F13F20, "F13-F20"},
		{21, 28, dcc.F21F28, "F21-F28"}, {29, 36, dcc.F29F36, "F29-F36"}, {37, 44, dcc.F37F44, "F37-F44"},
		{45, 52, dcc.F45F52, "F45-F52"}, {53, 60, dcc.F53F60, "F53-F60"}, {61, 68, dcc.F61F68, "F61-F68"},
	} {
		assert.Equal(t, c.first, c.group.First())
		assert.Equal(t, c.last, c.group.Last())
		assert.Equal(t, c.name, c.group.String())
		for f := c.first; f <= c.last; f++ {
			g, bit, err := dcc.GroupOf(f)
			require.NoError(t, err)
			assert.Equal(t, c.group, g, "F%d", f)
			assert.Equal(t, f-c.first, bit, "F%d", f)
		}
	}
	for _, f := range []int{-1, 69} {
		_, _, err := dcc.GroupOf(f)
		var out *dcc.RangeError
		assert.ErrorAs(t, err, &out)
	}
	assert.Equal(t, -1, dcc.FunctionGroup(10).First())
	assert.Equal(t, -1, dcc.FunctionGroup(10).Last())
	assert.Equal(t, "loco 3: function group 10", dcc.Functions{Address: dcc.Short(3), Group: 10}.String())
}

// S-9.2.1 C (July 2012): 100DDDDD, bit 4 is FL, bits 0 to 3 are F1 to F4.
func TestTheHeadlightHasItsOwnPlace(t *testing.T) {
	for f, want := range []byte{0x90, 0x81, 0x82, 0x84, 0x88} {
		p, err := dcc.Functions{Address: dcc.Short(3), Group: dcc.F0F4, States: 1 << f}.Packet()
		require.NoError(t, err)
		assert.Equal(t, dcc.Seal(3, want), p, "F%d", f)
	}
}

func TestFunctionMeaningsNameEveryFunctionThatIsOn(t *testing.T) {
	for states, want := range map[byte]string{
		0x00: "loco 3: F13-F20 off",
		0xff: "loco 3: F13 on, F14 on, F15 on, F16 on, F17 on, F18 on, F19 on, F20 on",
		0x24: "loco 3: F15 on, F18 on, F13-F14 off, F16-F17 off, F19-F20 off",
	} {
		assert.Equal(t, want, dcc.Functions{Address: dcc.Short(3), Group: dcc.F13F20, States: states}.String())
	}
	assert.Equal(t, "all locos: F0 on, F1-F4 off", dcc.Functions{Group: dcc.F0F4, States: 1}.String())
}
