package link_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// plug is a socket into which tests plug a link, and out of which they pull it.
type plug struct {
	clock  link.VirtualClock
	far    link.Link
	opened int

	mu  sync.Mutex
	err error
}

// hold has all attempts to open fail, or with nil succeed again.
func (p *plug) hold(err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.err = err
}

func (p *plug) open(ctx context.Context) (link.Link, error) {
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.err != nil {
		return nil, p.err
	}
	p.opened++
	near, far := link.Pipe(&p.clock, 0)
	p.far = far
	return near, nil
}

func TestReopeningTellsOfTheLossOnceAndGoesOn(t *testing.T) {
	p := &plug{}
	near := link.Reopening(p.open, time.Minute)
	assert.Zero(t, p.opened, "opened when first used")
	write(t, near, "one")
	assert.Zero(t, near.Reopened())
	_, err := read(t, near, time.Second)
	require.ErrorIs(t, err, link.ErrTimeout, "silence is no loss")
	for i := range 3 {
		require.NoError(t, p.far.Close())
		_, err = read(t, near, time.Second)
		require.ErrorIs(t, err, link.ErrClosed)
		assert.Equal(t, i, near.Reopened(), "not before it is used again")
		write(t, near, "again")
		assert.Equal(t, i+1, near.Reopened())
		got, err := read(t, p.far, time.Second)
		require.NoError(t, err)
		assert.Equal(t, "again", got, "nothing is said twice")
	}
	require.NoError(t, near.Close())
}

func TestReopeningWaitsForALinkThatComesBackWithinTheLimit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &plug{}
		near := link.Reopening(p.open, 10*time.Second)
		require.NoError(t, near.Open(t.Context()))
		require.NoError(t, near.Open(t.Context()), "open already")
		require.NoError(t, p.far.Close())
		_, err := read(t, near, 0)
		require.ErrorIs(t, err, link.ErrClosed)
		p.hold(errors.New("not there"))
		time.AfterFunc(9*time.Second, func() { p.hold(nil) })
		start := time.Now()
		write(t, near, "x")
		assert.InDelta(t, 9*time.Second, time.Since(start), float64(300*time.Millisecond))
		assert.Equal(t, 2, p.opened)
		require.NoError(t, near.Close())
	})
}

func TestReopeningGivesUpAtTheLimit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &plug{}
		near := link.Reopening(p.open, 10*time.Second)
		write(t, near, "x")
		require.NoError(t, p.far.Close())
		_, err := read(t, near, 0)
		require.ErrorIs(t, err, link.ErrClosed)
		p.hold(errors.Join(errors.New("no such device"), link.ErrTimeout))
		start := time.Now()
		_, err = near.Write(t.Context(), []byte("x"), time.Second)
		assert.Equal(t, 10*time.Second, time.Since(start))
		require.ErrorIs(t, err, link.ErrClosed)
		assert.NotErrorIs(t, err, link.ErrTimeout, "that an attempt took too long makes no timeout of a loss")
		assert.ErrorContains(t, err, "did not come back within 10s: no such device")
		start = time.Now()
		for range 3 {
			_, err = read(t, near, time.Hour)
			require.ErrorIs(t, err, link.ErrClosed)
		}
		assert.Zero(t, time.Since(start), "and it is not waited for again")

		require.Error(t, near.Open(t.Context()))
		p.hold(nil)
		require.NoError(t, near.Open(t.Context()), "unless asked")
		write(t, near, "x")
		assert.Equal(t, 1, near.Reopened())

		require.NoError(t, p.far.Close())
		_, err = read(t, near, 0)
		require.ErrorIs(t, err, link.ErrClosed)
		write(t, near, "as before")
		assert.Equal(t, 2, near.Reopened())
		require.NoError(t, near.Close())
	})
}

func TestReopeningEndsWithTheContextAndTriesAgainInTheNextCall(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &plug{err: errors.New("not there")}
		near := link.Reopening(p.open, time.Hour)
		require.EqualError(t, near.Open(t.Context()), "not there")
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		start := time.Now()
		for range 2 {
			_, err := near.Read(ctx, make([]byte, 1), time.Second)
			require.ErrorIs(t, err, context.DeadlineExceeded)
			assert.Equal(t, time.Second, time.Since(start))
		}
		p.hold(nil)
		write(t, near, "x")
		assert.Zero(t, near.Reopened(), "the first time is none")
		require.NoError(t, near.Close())
	})
}

func TestReopeningIsEndedByCloseFromElsewhere(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &plug{err: errors.New("not there")}
		near := link.Reopening(p.open, time.Hour)
		time.AfterFunc(time.Second, func() { _ = near.Close() })
		start := time.Now()
		_, err := read(t, near, time.Second)
		require.ErrorIs(t, err, link.ErrClosed)
		assert.Equal(t, time.Second, time.Since(start))
		p.hold(nil)
		_, err = near.Write(t.Context(), []byte("x"), time.Second)
		require.ErrorIs(t, err, link.ErrClosed, "for good")
		require.ErrorIs(t, near.Open(t.Context()), link.ErrClosed)
		assert.Zero(t, p.opened)
		require.NoError(t, near.Close())
	})
}

func TestReopeningClosesALinkThatOpensTooLate(t *testing.T) {
	p := &plug{}
	var near *link.ReopeningLink
	near = link.Reopening(func(ctx context.Context) (link.Link, error) {
		opened, err := p.open(ctx)
		_ = near.Close()
		return opened, err
	}, time.Minute)
	_, err := read(t, near, time.Second)
	require.ErrorIs(t, err, link.ErrClosed)
	_, err = read(t, p.far, 0)
	require.ErrorIs(t, err, link.ErrClosed, "its far end sees it closed")
}
