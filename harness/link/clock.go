package link

import (
	"container/heap"
	"context"
	"sync"
	"time"
)

// A Clock is the rig's time: harness.Rig satisfies it. Times count from the start of the rig.
type Clock interface {
	// Now is the time since the start.
	Now() time.Duration
	// Wait lets d pass, or returns ctx.Err() when ctx ends first.
	Wait(ctx context.Context, d time.Duration) error
}

// A VirtualClock moves only while somebody waits on it, and then at once, so that an hour of it costs nothing and is the
// same every time. Actions laid down with At run in the goroutine of whoever waits. The zero value stands at zero and is
// ready for use; it may be read and waited on by several goroutines, which share the one time.
type VirtualClock struct {
	mu      sync.Mutex
	now     time.Duration
	actions actions
	laid    int64
}

// Now is the present time of the clock.
func (c *VirtualClock) Now() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// At has action run when the clock reaches t, or at the next wait if that is past. Actions for one instant run in the
// order in which they were laid down, and may lay down more.
func (c *VirtualClock) At(t time.Duration, action func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.laid++
	heap.Push(&c.actions, scheduled{at: t, order: c.laid, action: action})
}

// Wait moves the clock on by d and runs what falls due on the way. A negative d is none.
func (c *VirtualClock) Wait(ctx context.Context, d time.Duration) error {
	end := c.Now() + max(d, 0)
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		if !c.step(end) {
			return nil
		}
	}
}

// step runs the next action due by end, or moves the clock to end and returns false.
func (c *VirtualClock) step(end time.Duration) bool {
	c.mu.Lock()
	if len(c.actions) == 0 || c.actions[0].at > end {
		c.now = max(c.now, end)
		c.mu.Unlock()
		return false
	}
	next := heap.Pop(&c.actions).(scheduled)
	c.now = max(c.now, next.at)
	c.mu.Unlock()
	next.action()
	return true
}

// next is the time until the next action, and whether there is one.
func (c *VirtualClock) next() (time.Duration, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.actions) == 0 {
		return 0, false
	}
	return max(c.actions[0].at-c.now, 0), true
}

type scheduled struct {
	at     time.Duration
	order  int64
	action func()
}

type actions []scheduled

func (a actions) Len() int { return len(a) }
func (a actions) Less(i, j int) bool {
	if a[i].at != a[j].at {
		return a[i].at < a[j].at
	}
	return a[i].order < a[j].order
}
func (a actions) Swap(i, j int) { a[i], a[j] = a[j], a[i] }
func (a *actions) Push(x any)   { *a = append(*a, x.(scheduled)) }
func (a *actions) Pop() any {
	last := len(*a) - 1
	x := (*a)[last]
	(*a)[last] = scheduled{}
	*a = (*a)[:last]
	return x
}
