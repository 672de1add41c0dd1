package link_test

import (
	"context"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// wall is the monotonic clock of the machine, for the few tests in which two goroutines meet.
type wall struct{ start time.Time }

func (w wall) Now() time.Duration { return time.Since(w.start) }

func (w wall) Wait(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func TestVirtualClockMovesOnlyWhenWaitedOn(t *testing.T) {
	var clock link.VirtualClock
	assert.Zero(t, clock.Now())
	require.NoError(t, clock.Wait(t.Context(), time.Hour))
	assert.Equal(t, time.Hour, clock.Now())
	require.NoError(t, clock.Wait(t.Context(), -time.Second))
	assert.Equal(t, time.Hour, clock.Now())
}

func TestVirtualClockRunsActionsInOrderAtTheirTimes(t *testing.T) {
	var clock link.VirtualClock
	type run struct {
		name string
		at   time.Duration
	}
	var runs []run
	action := func(name string) func() {
		return func() { runs = append(runs, run{name, clock.Now()}) }
	}
	clock.At(3*time.Second, action("late"))
	clock.At(time.Second, action("first"))
	clock.At(time.Second, func() {
		action("second")()
		clock.At(2*time.Second, action("laid by the second"))
		clock.At(0, action("already past"))
	})
	require.NoError(t, clock.Wait(t.Context(), 2*time.Second))
	assert.Equal(t, []run{{"first", time.Second}, {"second", time.Second}, {"already past", time.Second},
		{"laid by the second", 2 * time.Second}}, runs)
	assert.Equal(t, 2*time.Second, clock.Now())
}

func TestVirtualClockStopsAtTheActionThatEndsTheContext(t *testing.T) {
	var clock link.VirtualClock
	ctx, cancel := context.WithCancel(t.Context())
	clock.At(time.Second, cancel)
	require.ErrorIs(t, clock.Wait(ctx, time.Hour), context.Canceled)
	assert.Equal(t, time.Second, clock.Now())
}
