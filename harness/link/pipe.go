package link

import (
	"context"
	"sync"
	"time"
)

// slice is how long a reader of a pipe waits before it looks again, on a clock that cannot say when something is due.
const slice = time.Millisecond

// A PipeEnd is one end of an in-memory link. What is written to one end arrives at the other after the pipe's delay. The
// two ends may be used by two goroutines.
type PipeEnd struct {
	clock    Clock
	delay    time.Duration
	shared   *sync.Mutex
	peer     *PipeEnd
	arriving []arrival
	closed   bool
	blocked  bool
	notify   func()
}

type arrival struct {
	at    time.Duration
	bytes []byte
}

// Pipe returns the two ends of an in-memory link on the given clock. Bytes take delay to arrive; zero delivers them at
// once. On a VirtualClock everything happens in the goroutine that reads or waits, so a scripted far end needs none of
// its own: see OnArrival.
func Pipe(clock Clock, delay time.Duration) (near, far *PipeEnd) {
	shared := new(sync.Mutex)
	near = &PipeEnd{clock: clock, delay: delay, shared: shared}
	far = &PipeEnd{clock: clock, delay: delay, shared: shared, peer: near}
	near.peer = far
	return near, far
}

// OnArrival has f run whenever bytes were written towards this end or the other end was closed, in the goroutine of the
// writer and before its Write returns: at the time of arrival on a VirtualClock with a delay, at once otherwise. f may
// read with a timeout of zero and may write.
func (e *PipeEnd) OnArrival(f func()) {
	e.shared.Lock()
	defer e.shared.Unlock()
	e.notify = f
}

// Block makes every Write to this end's peer stop short, as a far end does that has ceased to read. Block(false) lets
// them through again.
func (e *PipeEnd) Block(blocked bool) {
	e.shared.Lock()
	defer e.shared.Unlock()
	e.blocked = blocked
}

// Read follows the rules of Link.
func (e *PipeEnd) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	start := e.clock.Now()
	for {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		n, due, err := e.take(p)
		if n > 0 || err != nil || len(p) == 0 {
			return n, err
		}
		left := start + timeout - e.clock.Now()
		if left <= 0 {
			return 0, ErrTimeout
		}
		if err := e.clock.Wait(ctx, e.pause(left, due)); err != nil {
			return 0, err
		}
	}
}

// take moves what has arrived into p. due is the time of the next arrival, or negative.
func (e *PipeEnd) take(p []byte) (n int, due time.Duration, err error) {
	e.shared.Lock()
	defer e.shared.Unlock()
	if e.closed {
		return 0, -1, ErrClosed
	}
	now := e.clock.Now()
	for len(e.arriving) > 0 && e.arriving[0].at <= now && n < len(p) {
		first := &e.arriving[0]
		copied := copy(p[n:], first.bytes)
		n += copied
		first.bytes = first.bytes[copied:]
		if len(first.bytes) == 0 {
			e.arriving = e.arriving[1:]
		}
	}
	if n > 0 {
		return n, -1, nil
	}
	if len(e.arriving) > 0 {
		return 0, e.arriving[0].at, nil
	}
	if e.peer.closed {
		return 0, -1, ErrClosed
	}
	return 0, -1, nil
}

// pause is how long to wait before looking again.
func (e *PipeEnd) pause(left, due time.Duration) time.Duration {
	pause := left
	if virtual, ok := e.clock.(*VirtualClock); ok {
		if next, ok := virtual.next(); ok {
			pause = min(pause, next)
		}
	} else {
		pause = min(pause, slice)
	}
	if due >= 0 {
		pause = min(pause, max(due-e.clock.Now(), 0))
	}
	return pause
}

// Write follows the rules of Link. A pipe holds any number of bytes.
func (e *PipeEnd) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	e.shared.Lock()
	if e.closed || e.peer.closed {
		e.shared.Unlock()
		return 0, ErrClosed
	}
	if e.peer.blocked {
		e.shared.Unlock()
		if err := e.clock.Wait(ctx, timeout); err != nil {
			return 0, err
		}
		return 0, ErrTimeout
	}
	at := e.clock.Now() + e.delay
	e.peer.arriving = append(e.peer.arriving, arrival{at: at, bytes: append([]byte(nil), p...)})
	notify := e.peer.notify
	e.shared.Unlock()
	e.announce(notify, at)
	return len(p), nil
}

func (e *PipeEnd) announce(notify func(), at time.Duration) {
	if notify == nil {
		return
	}
	if virtual, ok := e.clock.(*VirtualClock); ok && e.delay > 0 {
		virtual.At(at, notify)
		return
	}
	notify()
}

// Duplex is true: a pipe is made for several goroutines.
func (e *PipeEnd) Duplex() bool { return true }

// Close closes this end. The peer can still read what had been written before it gets ErrClosed.
func (e *PipeEnd) Close() error {
	e.shared.Lock()
	if e.closed {
		e.shared.Unlock()
		return nil
	}
	e.closed = true
	e.arriving = nil
	notify := e.peer.notify
	e.shared.Unlock()
	e.announce(notify, e.clock.Now()+e.delay)
	return nil
}
