package probe

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// A farEnd is a link with a device at its far end, in virtual time: it passes while somebody reads, at once, and no faster
// than the client takes what comes. It is the host's clock as well.
type farEnd struct {
	mu      sync.Mutex
	device  *Device
	courses [MaxTracks]*course
	now     time.Duration
	out     []byte
	closed  bool
	pulled  int           // so many calls find the link closed
	limit   time.Duration // time stands still there; zero: nowhere
	client  atomic.Pointer[Client]
	noise   func([]byte) []byte   // what the line does to bytes from the probe
	drop    func(p []byte) []byte // and to bytes to it
	step    time.Duration
}

func newFarEnd(seed uint64, mean time.Duration, hello *Hello) *farEnd {
	f := &farEnd{step: time.Millisecond}
	f.device = NewDevice(DeviceConfig{Hello: *hello, FirstTick: 0xfff0_0000,
		Current: func(track int, t time.Duration) physic.ElectricCurrent { return 100 * physic.MilliAmpere }})
	for i := range f.courses {
		f.courses[i] = newCourse(seed+uint64(i), mean, true)
	}
	return f
}

func (f *farEnd) Duplex() bool { return true }

func (f *farEnd) Now() time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.now
}

// Wait is there because a Clock has it; the client only asks for the time.
func (f *farEnd) Wait(context.Context, time.Duration) error { return nil }

func (f *farEnd) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	for ctx.Err() == nil && f.behind() {
		time.Sleep(50 * time.Microsecond)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	for end := f.now + timeout; ; {
		switch {
		case ctx.Err() != nil:
			return 0, ctx.Err()
		case f.closed:
			return 0, link.ErrClosed
		case f.pulled > 0:
			f.pulled--
			return 0, link.ErrClosed
		case len(f.out) > 0:
			n := copy(p, f.out)
			f.out = f.out[:copy(f.out, f.out[n:])]
			return n, nil
		case f.now >= end:
			return 0, link.ErrTimeout
		case f.limit > 0 && f.now >= f.limit:
			f.mu.Unlock()
			time.Sleep(50 * time.Microsecond)
			f.mu.Lock()
			if f.pass(f.now); len(f.out) == 0 {
				return 0, link.ErrTimeout
			}
			continue
		}
		f.pass(min(f.now+f.step, end))
	}
}

// behind reports whether the client has not been pumped for a while.
func (f *farEnd) behind() bool {
	c := f.client.Load()
	if c == nil {
		return false
	}
	now, _ := c.queue.level()
	return now > len(c.queue.ring)/2
}

// pass lets time pass. The courses' edges are told in order.
func (f *farEnd) pass(to time.Duration) {
	f.now = to
	for f.courses[0].next < to || f.courses[1].next < to {
		track := 0
		if f.courses[1].next < f.courses[0].next {
			track = 1
		}
		f.courses[track].until(f.courses[track].next+1, f.device, track)
	}
	f.device.Advance(to)
	sent := f.device.Sent()
	if f.noise != nil {
		sent = f.noise(sent)
	}
	f.out = append(f.out, sent...)
}

func (f *farEnd) Write(ctx context.Context, p []byte, _ time.Duration) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.closed || f.pulled > 0 {
		f.pulled = max(f.pulled-1, 0)
		return 0, link.ErrClosed
	}
	n := len(p)
	if f.drop != nil {
		p = f.drop(p)
	}
	f.device.Receive(p)
	return n, nil
}

func (f *farEnd) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.closed = true
	return nil
}

// with changes something at the far end.
func (f *farEnd) with(change func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	change()
}

// attach opens a client on the far end and has time pass no faster than the client is pumped. Time stands still at the
// limit; run moves that.
func attach(t testing.TB, f *farEnd, o Options) *Client {
	o.Clock = f
	f.with(func() { f.limit = 20 * time.Millisecond })
	c, err := Open(t.Context(), f, o)
	require.NoError(t, err)
	f.client.Store(c)
	t.Cleanup(func() { _ = c.Close() })
	return c
}

// run lets d pass and pumps what comes into s, if that is not nil.
func (f *farEnd) run(t testing.TB, c *Client, d time.Duration, s Sink) {
	var until time.Duration
	f.with(func() {
		until = max(f.limit, f.now) + d
		f.limit = until
	})
	deadline := time.Now().Add(time.Minute)
	for f.Now() < until {
		require.True(t, time.Now().Before(deadline), "virtual time stands still")
		if s == nil {
			time.Sleep(100 * time.Microsecond)
		} else if _, err := c.Pump(t.Context(), time.Millisecond, s); err != nil {
			require.NoError(t, err)
		}
	}
	f.settle(t, c, s)
}

// settle waits until the client has all that was sent, and pumps it.
func (f *farEnd) settle(t testing.TB, c *Client, s Sink) {
	deadline := time.Now().Add(time.Minute)
	for quiet := 0; quiet < 3; {
		require.True(t, time.Now().Before(deadline), "the line does not fall silent")
		before := c.Health().Frames
		time.Sleep(time.Millisecond)
		if s != nil {
			_, _ = c.Pump(t.Context(), 0, s)
		}
		if c.Health().Frames == before {
			quiet++
		} else {
			quiet = 0
		}
	}
}

// offset is how much earlier the device's time began than the client's.
func (f *farEnd) offset(c *Client) time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.device.timeOf(int64(c.epoch.Tick-f.device.first)) - c.epoch.At
}
