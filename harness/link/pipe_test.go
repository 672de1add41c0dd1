package link_test

import (
	"bytes"
	"context"
	"io"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// read reads once, up to 64 bytes.
func read(t *testing.T, l link.Link, timeout time.Duration) (string, error) {
	t.Helper()
	p := make([]byte, 64)
	n, err := l.Read(t.Context(), p, timeout)
	return string(p[:n]), err
}

func write(t *testing.T, l link.Link, text string) {
	t.Helper()
	n, err := l.Write(t.Context(), []byte(text), time.Second)
	require.NoError(t, err)
	require.Equal(t, len(text), n)
}

func TestPipeCarriesBytesBothWaysAfterItsDelay(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 10*time.Millisecond)
	write(t, near, "there")
	write(t, far, "back")

	_, err := read(t, far, 9*time.Millisecond)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Equal(t, 9*time.Millisecond, clock.Now())

	got, err := read(t, far, time.Hour)
	require.NoError(t, err)
	assert.Equal(t, "there", got)
	assert.Equal(t, 10*time.Millisecond, clock.Now(), "the read ends when the bytes are there")
	got, err = read(t, near, 0)
	require.NoError(t, err)
	assert.Equal(t, "back", got)
}

func TestPipeReadTakesWhatFitsAndKeepsTheRest(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	write(t, near, "abc")
	write(t, near, "de")
	p := make([]byte, 4)
	n, err := far.Read(t.Context(), p, 0)
	require.NoError(t, err)
	assert.Equal(t, "abcd", string(p[:n]))
	n, err = far.Read(t.Context(), p, 0)
	require.NoError(t, err)
	assert.Equal(t, "e", string(p[:n]))
	n, err = far.Read(t.Context(), nil, time.Hour)
	require.NoError(t, err)
	assert.Zero(t, n)
}

func TestPipeTimeoutSpendsExactlyTheTimeAllowed(t *testing.T) {
	var clock link.VirtualClock
	near, _ := link.Pipe(&clock, 0)
	_, err := read(t, near, 0)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Zero(t, clock.Now())
	_, err = read(t, near, 1234567*time.Nanosecond)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Equal(t, 1234567*time.Nanosecond, clock.Now())
}

func TestPipeFarEndAnswersFromItsCallbackWithoutGoroutine(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, time.Millisecond)
	far.OnArrival(func() {
		got, err := read(t, far, 0)
		require.NoError(t, err)
		clock.At(clock.Now()+5*time.Millisecond, func() { write(t, far, got+got) })
	})
	write(t, near, "x")
	got, err := read(t, near, time.Second)
	require.NoError(t, err)
	assert.Equal(t, "xx", got)
	assert.Equal(t, 7*time.Millisecond, clock.Now())
}

func TestPipeClosedByTheFarEndStillDeliversWhatWasWritten(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	write(t, far, "last words")
	require.NoError(t, far.Close())
	require.NoError(t, far.Close())
	got, err := read(t, near, 0)
	require.NoError(t, err)
	assert.Equal(t, "last words", got)
	_, err = read(t, near, time.Hour)
	require.ErrorIs(t, err, link.ErrClosed)
	_, err = near.Write(t.Context(), []byte("x"), time.Second)
	require.ErrorIs(t, err, link.ErrClosed)
	_, err = read(t, far, time.Hour)
	require.ErrorIs(t, err, link.ErrClosed)
	assert.Zero(t, clock.Now())
}

func TestPipeBlockedWriteTakesItsTimeAndSaysSo(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	far.Block(true)
	n, err := near.Write(t.Context(), []byte("x"), time.Second)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Zero(t, n)
	assert.Equal(t, time.Second, clock.Now())
	far.Block(false)
	write(t, near, "y")
	got, err := read(t, far, 0)
	require.NoError(t, err)
	assert.Equal(t, "y", got)
}

func TestPipeCallsEndWithTheirContext(t *testing.T) {
	var clock link.VirtualClock
	near, _ := link.Pipe(&clock, 0)
	ctx, cancel := context.WithCancel(t.Context())
	clock.At(time.Second, cancel)
	_, err := near.Read(ctx, make([]byte, 1), time.Hour)
	require.ErrorIs(t, err, context.Canceled)
	_, err = near.Write(ctx, []byte("x"), time.Hour)
	require.ErrorIs(t, err, context.Canceled)
	assert.Equal(t, time.Second, clock.Now())
}

func TestPipeJoinsTwoGoroutinesOnTheWallClock(t *testing.T) {
	near, far := link.Pipe(wall{time.Now()}, 0)
	want := bytes.Repeat([]byte("0123456789"), 1000)
	sent := make(chan error, 1)
	go func() {
		for rest := want; len(rest) > 0; {
			n, err := far.Write(context.Background(), rest[:min(len(rest), 77)], time.Second)
			if err != nil {
				sent <- err
				return
			}
			rest = rest[n:]
		}
		sent <- far.Close()
	}()
	var got bytes.Buffer
	p := make([]byte, 100)
	for {
		n, err := near.Read(t.Context(), p, 5*time.Second)
		got.Write(p[:n])
		if err != nil {
			require.ErrorIs(t, err, link.ErrClosed)
			break
		}
	}
	require.NoError(t, <-sent)
	assert.Equal(t, want, got.Bytes())
}

// Every Link of this package is one.
var (
	_ link.Link = (*link.PipeEnd)(nil)
	_ link.Link = (*link.Recorder)(nil)
	_ link.Link = (*link.Playback)(nil)
	_ io.Closer = (*link.PipeEnd)(nil)
)
