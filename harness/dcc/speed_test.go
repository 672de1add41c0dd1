package dcc_test

import (
	"strconv"
	"strings"
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The codes of the 28 speed steps as C SSSS, copied from NEM 671 (2014), table 1, which is figure 2 of S-9.2 (July 2004).
var nem671Table1 = map[int]string{
	1: "0 0010", 2: "1 0010", 3: "0 0011", 4: "1 0011", 5: "0 0100", 6: "1 0100", 7: "0 0101", 8: "1 0101",
	9: "0 0110", 10: "1 0110", 11: "0 0111", 12: "1 0111", 13: "0 1000", 14: "1 1000", 15: "0 1001", 16: "1 1001",
	17: "0 1010", 18: "1 1010", 19: "0 1011", 20: "1 1011", 21: "0 1100", 22: "1 1100", 23: "0 1101", 24: "1 1101",
	25: "0 1110", 26: "1 1110", 27: "0 1111", 28: "1 1111",
}

func code(t *testing.T, csssss string) byte {
	v, err := strconv.ParseUint(strings.ReplaceAll(csssss, " ", ""), 2, 5)
	require.NoError(t, err)
	return byte(v)
}

func TestTwentyEightStepsAreCodedAsInTheTable(t *testing.T) {
	require.Len(t, nem671Table1, 28)
	for step, bits := range nem671Table1 {
		for direction, d := range map[dcc.Direction]byte{dcc.Reverse: 0, dcc.Forward: 1} {
			want := dcc.Seal(55, 0x40|d<<5|code(t, bits))
			i := dcc.Speed{Address: dcc.Short(55), Steps: dcc.Steps28, Direction: direction, Step: step}
			got, err := i.Packet()
			require.NoError(t, err)
			assert.Equal(t, want, got, "step %d %v", step, direction)
			assert.Equal(t, i, dcc.Decode(want), "step %d %v", step, direction)
		}
	}
}

// S-9.2 figure 2 (July 2004).
func TestStopsOfTwentyEightStepsAreCodedAsInTheFigure(t *testing.T) {
	for bits, want := range map[string]dcc.Speed{
		"0 0000": {},
		"1 0000": {DirectionIgnored: true},
		"0 0001": {Emergency: true},
		"1 0001": {Emergency: true, DirectionIgnored: true},
	} {
		want.Address, want.Steps = dcc.Short(3), dcc.Steps28
		p := dcc.Seal(3, 0x40|code(t, bits))
		assert.Equal(t, want, dcc.Decode(p), bits)
		got, err := want.Packet()
		require.NoError(t, err)
		assert.Equal(t, p, got, bits)
	}
}

// S-9.2.1 C (July 2012): 0 stop, 1 emergency stop, then 126 steps.
func TestAllCodesOf128StepsHaveTheirMeaning(t *testing.T) {
	for code := range 128 {
		want := dcc.Speed{Address: dcc.Long(1000), Steps: dcc.Steps128, Direction: dcc.Forward}
		switch code {
		case 0:
		case 1:
			want.Emergency = true
		default:
			want.Step = code - 1
		}
		p := dcc.Seal(0xc3, 0xe8, 0x3f, 0x80|byte(code))
		assert.Equal(t, want, dcc.Decode(p))
		got, err := want.Packet()
		require.NoError(t, err)
		assert.Equal(t, p, got)
	}
	assert.Equal(t, 126, dcc.Steps128.Max())
	assert.Equal(t, 28, dcc.Steps28.Max())
}
