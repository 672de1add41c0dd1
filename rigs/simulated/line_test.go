package simulated

import (
	"context"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/rigs/wire"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCharactersTakeTheirTimeOnTheLine(t *testing.T) {
	ctx := context.Background()
	b := newBench(t, Options{Nominal: true, Baud: 9600}, false)
	b.say("*IDN?") // six characters of 1.042 ms
	assert.Zero(t, b.Now())
	buffer := make([]byte, 64)
	n, err := b.Link().Read(ctx, buffer, time.Second)
	require.NoError(t, err)
	assert.Equal(t, "b", string(buffer[:n]))
	// Six there, one back, and the processor's time for the message and its unit.
	assert.InDelta(t, 7*1.0417+0.3, float64(b.Now())/1e6, 0.01)
	b.wait(10 * time.Millisecond)
	n, err = b.Link().Read(ctx, buffer, 0)
	require.NoError(t, err)
	assert.Equal(t, "ufferstop", string(buffer[:n]))
}

func TestAReadThatGetsNothingTimesOut(t *testing.T) {
	ctx := context.Background()
	b := newBench(t, Options{Nominal: true}, false)
	n, err := b.Link().Read(ctx, make([]byte, 4), 30*time.Millisecond)
	assert.Zero(t, n)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Equal(t, 30*time.Millisecond, b.Now())
	_, err = b.Link().Read(ctx, make([]byte, 4), 0)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Equal(t, 30*time.Millisecond, b.Now())
	n, err = b.Link().Read(ctx, nil, time.Second)
	assert.Zero(t, n)
	require.NoError(t, err)
}

func TestAWriterWaitsWhenTheTransmitBufferIsFull(t *testing.T) {
	ctx := context.Background()
	b := newBench(t, Options{Nominal: true}, false)
	n, err := b.Link().Write(ctx, make([]byte, wire.TransmitBuffer), 0)
	require.NoError(t, err)
	assert.Equal(t, wire.TransmitBuffer, n)
	n, err = b.Link().Write(ctx, make([]byte, 1000), 20*time.Millisecond)
	require.ErrorIs(t, err, link.ErrTimeout)
	// 20 ms are 230 characters at 115200 baud.
	assert.InDelta(t, 230, n, 1)
	assert.Equal(t, 20*time.Millisecond, b.Now())
	n, err = b.Link().Write(ctx, make([]byte, 1000), time.Second)
	require.NoError(t, err)
	assert.Equal(t, 1000, n)
	assert.InDelta(t, float64(20*time.Millisecond+1000*86805*time.Nanosecond), float64(b.Now()), 1e6)
}

func TestAClosedLineSaysSo(t *testing.T) {
	ctx := context.Background()
	b := newBench(t, Options{Nominal: true}, false)
	require.NoError(t, b.Link().Close())
	require.NoError(t, b.Link().Close())
	_, err := b.Link().Read(ctx, make([]byte, 1), time.Second)
	require.ErrorIs(t, err, link.ErrClosed)
	_, err = b.Link().Write(ctx, []byte("x"), time.Second)
	require.ErrorIs(t, err, link.ErrClosed)
}
