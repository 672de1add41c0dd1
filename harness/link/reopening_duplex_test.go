package link_test

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestReopeningIsReadAndWrittenAtTheSameTime loses the link again and again under a reader and a writer. Each loss opens it
// once, and never two open at a time.
func TestReopeningIsReadAndWrittenAtTheSameTime(t *testing.T) {
	const losses = 20
	clock := link.NewWallClock()
	var opening, opened atomic.Int32
	fars := make(chan *link.PipeEnd, losses+2)
	near := link.Reopening(func(context.Context) (link.Link, error) {
		assert.Equal(t, int32(1), opening.Add(1))
		defer opening.Add(-1)
		time.Sleep(time.Millisecond)
		opened.Add(1)
		end, far := link.Pipe(clock, 0)
		fars <- far
		return end, nil
	}, slow)
	assert.False(t, near.Duplex(), "not open, so not known")
	require.NoError(t, near.Open(t.Context()))
	assert.True(t, near.Duplex())

	ctx, cancel := context.WithCancel(t.Context())
	var both sync.WaitGroup
	both.Go(func() {
		for ctx.Err() == nil {
			_, err := near.Read(ctx, make([]byte, 16), time.Millisecond)
			assert.True(t, err == nil || errors.Is(err, link.ErrTimeout) || errors.Is(err, link.ErrClosed) || ctx.Err() != nil, "%v", err)
		}
	})
	both.Go(func() {
		for ctx.Err() == nil {
			_, err := near.Write(ctx, []byte("x"), time.Millisecond)
			assert.True(t, err == nil || errors.Is(err, link.ErrTimeout) || errors.Is(err, link.ErrClosed) || ctx.Err() != nil, "%v", err)
			time.Sleep(100 * time.Microsecond)
		}
	})
	for range losses {
		far := <-fars
		require.NoError(t, far.Close())
	}
	(<-fars).Close()
	cancel()
	both.Wait()
	require.NoError(t, near.Close())
	assert.InDelta(t, losses+1, opened.Load(), 1)
}
