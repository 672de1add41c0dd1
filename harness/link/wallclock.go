package link

import (
	"context"
	"sync"
	"time"
)

// A WallClock is the Clock of real rigs. It counts with the machine's monotonic clock, so that setting the time of day
// during a run moves nothing. The zero value starts at its first use; it may be used by several goroutines.
type WallClock struct {
	once  sync.Once
	start time.Time
}

// NewWallClock returns a clock that starts now.
func NewWallClock() *WallClock {
	c := new(WallClock)
	c.Now()
	return c
}

// Now is the time since the start.
func (c *WallClock) Now() time.Duration {
	c.once.Do(func() { c.start = time.Now() })
	return time.Since(c.start)
}

// Wait lets d pass, or returns ctx.Err() when ctx ends first. A negative d is none.
func (c *WallClock) Wait(ctx context.Context, d time.Duration) error {
	c.Now()
	if err := ctx.Err(); err != nil || d <= 0 {
		return err
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}
