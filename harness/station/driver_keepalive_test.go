package station_test

import (
	"testing"
	"time"

	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const keptAlive = `
[keep_alive]
send = "still here"
pattern = "so am I"
every = "10s"
timeout = "1s"
`

func TestKeepAliveIsDueAfterItsTimeWithoutAWord(t *testing.T) {
	s := speaking(t)
	s.to("still here", at(0, "so am I"))
	d := station.NewDriver(basic(t, keptAlive), s.near, s.clock)
	_, needed := d.NextKeepAlive()
	assert.False(t, needed, "before the first word")
	require.NoError(t, d.StopAll(t.Context()))
	left, needed := d.NextKeepAlive()
	assert.True(t, needed)
	assert.Equal(t, 10*time.Second-2*time.Millisecond, left, "from the last word that was said")
	require.NoError(t, s.clock.Wait(t.Context(), left))
	left, _ = d.NextKeepAlive()
	assert.Zero(t, left)
	require.NoError(t, d.KeepAlive(t.Context()))
	left, _ = d.NextKeepAlive()
	assert.Equal(t, 10*time.Second-2*time.Millisecond, left)
	assert.Equal(t, []string{"halt", "still here"}, s.heard[len(s.heard)-2:])
	assert.Equal(t, station.StopAll, d.LastExchange().Operation, "it is no operation")
}

func TestKeepAliveThatIsNotAnsweredSaysSo(t *testing.T) {
	s := speaking(t)
	d := station.NewDriver(basic(t, keptAlive), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	err := d.KeepAlive(t.Context())
	require.ErrorIs(t, err, station.ErrKeepAlive)
	require.ErrorIs(t, err, station.ErrNoAnswer)
	require.NoError(t, d.StopAll(t.Context()))
}

func TestStationThatNeedsNoKeepAliveIsLeftAlone(t *testing.T) {
	s := speaking(t)
	d := station.NewDriver(basic(t, ""), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	heard := len(s.heard)
	_, needed := d.NextKeepAlive()
	assert.False(t, needed)
	require.NoError(t, d.KeepAlive(t.Context()))
	assert.Len(t, s.heard, heard)
}
