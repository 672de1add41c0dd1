package box

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestAClockCountsCyclesToTheNanosecond(t *testing.T) {
	c := clockOf(16_000_000, 0)
	for at, cycle := range map[time.Duration]uint64{0: 0, 1: 1, 62: 1, 63: 2, 125: 2, 126: 3, time.Second: 16_000_000, 24 * time.Hour: 24 * 3600 * 16_000_000} {
		assert.Equal(t, cycle, c.cycles(at), "%v", at)
	}
	assert.Equal(t, uint64(16_001_600), clockOf(16_000_000, 100).cycles(time.Second))
	rapid.Check(t, func(t *rapid.T) {
		c := clockOf(rapid.Int64Range(1_000_000, 20_000_000).Draw(t, "hertz"), rapid.Float64Range(-1000, 1000).Draw(t, "ppm"))
		cycle := rapid.Uint64Range(0, 1<<50).Draw(t, "cycle")
		at := c.instant(cycle)
		require.Equal(t, cycle, c.cycles(at))
		require.Less(t, at, c.instant(cycle+1))
		require.GreaterOrEqual(t, c.instant(c.cycles(at+1)), at)
	})
}

func TestABoardIsWiredWithoutAPinTwice(t *testing.T) {
	for _, name := range Boards() {
		b, err := BoardOf(name)
		require.NoError(t, err)
		seen := map[string]bool{}
		use := func(pin interface{ String() string }) {
			assert.False(t, seen[pin.String()], "%s: %v", name, pin)
			seen[pin.String()] = true
		}
		use(b.Supply)
		for _, track := range b.Tracks {
			use(track.Sign)
			use(track.Absent)
			use(track.Short)
			for _, pin := range track.Ladder {
				use(pin)
			}
		}
	}
	_, err := BoardOf("atmega8")
	require.EqualError(t, err, `a probe with the processor "atmega8": want one of atmega2560, atmega328p`)
}
