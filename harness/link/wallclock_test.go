package link_test

import (
	"context"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWallClockStartsAtZeroAndWaitsAtLeastAsLongAsAsked(t *testing.T) {
	var clock link.WallClock
	assert.Less(t, clock.Now(), time.Second)
	before := clock.Now()
	require.NoError(t, clock.Wait(t.Context(), 5*time.Millisecond))
	assert.GreaterOrEqual(t, clock.Now()-before, 5*time.Millisecond)
	require.NoError(t, clock.Wait(t.Context(), -time.Hour))
}

func TestWallClockWaitEndsWithItsContext(t *testing.T) {
	clock := link.NewWallClock()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	require.ErrorIs(t, clock.Wait(ctx, time.Hour), context.DeadlineExceeded)
	require.ErrorIs(t, clock.Wait(ctx, 0), context.DeadlineExceeded)
	assert.Less(t, clock.Now(), 10*time.Second)
}

var _ link.Clock = (*link.WallClock)(nil)
