package fakedecoder

import (
	"testing"
	"time"

	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

func TestADemandThatIsDrawnLaterIsSaidSoMuchEarlier(t *testing.T) {
	const ms = time.Millisecond
	c := Config{Lead: 8 * ms, Acknowledge: Acknowledge{Amplitude: physic.Ampere, Width: 6 * ms, Delay: 10 * ms}}
	d, err := New(c)
	require.NoError(t, err)
	d.Edge(signal.Edge{Level: signal.Positive})
	d.Pulse(20*ms, 2*ms, physic.Ampere)
	assert.Zero(t, d.Current(12*ms-1))
	assert.Equal(t, physic.Ampere, d.Current(12*ms))
	assert.Zero(t, d.Current(14*ms))
	d.acknowledge(30 * ms)
	assert.Zero(t, d.Current(32*ms-1))
	assert.Equal(t, physic.Ampere, d.Current(32*ms), "a delay of 10 ms, of which 8 pass until it is drawn")
	c.Acknowledge.Delay = ms
	d, err = New(c)
	require.NoError(t, err)
	d.Edge(signal.Edge{Level: signal.Positive})
	d.acknowledge(30 * ms)
	assert.Equal(t, physic.Ampere, d.Current(30*ms), "it cannot be said before the packet is over")
	c.Lead = -1
	_, err = New(c)
	require.ErrorContains(t, err, "Lead")
}

func TestAForecastIsWhatTheDecoderThenDemands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		personality := rapid.SampledFrom(Personalities()).Draw(t, "personality")
		c, err := Personality(personality)
		require.NoError(t, err)
		d, err := New(c)
		require.NoError(t, err)
		d.Edge(signal.Edge{Time: time.Millisecond, Level: signal.Positive})
		now := time.Duration(rapid.IntRange(1000, 9000).Draw(t, "now")) * time.Microsecond
		d.Current(now)
		d.acknowledge(now)
		d.Pulse(now+time.Millisecond, 3*time.Millisecond, 50*physic.MilliAmpere)
		var f Forecast
		d.Forecast(&f)
		var ahead []physic.ElectricCurrent
		var changes []time.Duration
		for i := range 200 {
			at := now + time.Duration(i)*50*time.Microsecond
			ahead = append(ahead, f.Current(at))
			next, _ := f.NextChange(at)
			changes = append(changes, next)
		}
		for i := range 200 {
			at := now + time.Duration(i)*50*time.Microsecond
			require.Equal(t, ahead[i], d.Current(at), "at %v", at)
			next, _ := d.NextChange(at)
			require.Equal(t, changes[i], next)
		}
	})
}

func TestWhatADecoderWouldTakeCanBeAsked(t *testing.T) {
	d, err := New(Config{ReadOnly: []int{30}, CVs: map[int]byte{15: 1, 16: 1}})
	require.NoError(t, err)
	assert.True(t, d.Takes(66, 5))
	assert.False(t, d.Takes(30, 5))
	assert.False(t, d.Takes(1, 200), "no address")
	assert.False(t, d.Takes(0, 0))
	assert.False(t, d.Takes(1025, 0))
	assert.True(t, d.Readable(30))
	assert.False(t, d.Readable(1025))
	locked, err := New(Config{Lock: LockAll, CVs: map[int]byte{15: 1, 16: 2}})
	require.NoError(t, err)
	assert.False(t, locked.Readable(30))
	assert.False(t, locked.Takes(66, 5))
	assert.True(t, locked.Readable(15), "the key")
}
