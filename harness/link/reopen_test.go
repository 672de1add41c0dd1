package link_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestALinkThatIsOpenedAnewOnPurposeIsNoLoss(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &plug{}
		near := link.Reopening(p.open, time.Minute)
		write(t, near, "one")
		before := p.far
		begun := time.Now()
		require.NoError(t, near.Reopen(t.Context(), 3*time.Second))
		assert.Equal(t, 3*time.Second, time.Since(begun))
		assert.Equal(t, 2, p.opened)
		_, err := before.Write(t.Context(), []byte("x"), 0)
		require.ErrorIs(t, err, link.ErrClosed, "the far end has seen it go")
		write(t, near, "two")
		assert.Equal(t, 1, near.Reopened())
		require.NoError(t, near.Close())
		require.ErrorIs(t, near.Reopen(t.Context(), time.Second), link.ErrClosed)
	})
}

func TestALinkThatDoesNotComeBackIsLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &plug{}
		near := link.Reopening(p.open, 5*time.Second)
		write(t, near, "one")
		p.hold(errors.New("gone"))
		require.ErrorIs(t, near.Reopen(t.Context(), time.Second), link.ErrClosed)
		require.NoError(t, near.Close())
	})
}

func TestOpeningAnewEndsWithItsContext(t *testing.T) {
	p := &plug{}
	near := link.Reopening(p.open, time.Minute)
	write(t, near, "one")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, near.Reopen(ctx, time.Hour), context.Canceled)
	write(t, near, "and the next call opens it")
	require.NoError(t, near.Close())
}
