// Package wire is a serial line to a station in virtual time, for rigs that are software.
package wire

import (
	"context"
	"fmt"
	"math"
	"time"

	"bufferstop/harness/link"
)

// A World is what a line is part of: the rig whose time passes while somebody waits on the line.
type World interface {
	// Now is the rig's present time.
	Now() time.Duration
	// Advance lets the world run to the time to, or with orByte until a byte has arrived at the host.
	Advance(ctx context.Context, to time.Duration, orByte bool) error
}

// A Line is a serial line to the station, and a link to it for the harness. It is used by one goroutine at a time.
type Line struct {
	World     World
	ToStation Queue
	ToHost    Queue
	closed    bool
}

// Queue is one way of a line.
type Queue struct {
	Character time.Duration // that one takes
	bytes     []byte
	first     time.Duration // when the first of them has arrived; the others follow at the pace of the line
	free      time.Duration // when the line is free again
}

// never is later than any time of a rig.
const never = time.Duration(math.MaxInt64)

// TransmitBuffer is how many characters the host's serial driver takes before a writer has to wait.
const TransmitBuffer = 4096

// Put hands bytes to the sending end at t.
func (q *Queue) Put(t time.Duration, b []byte) {
	if len(b) == 0 {
		return
	}
	if len(q.bytes) == 0 {
		q.first = max(t, q.free) + q.Character
	}
	q.bytes = append(q.bytes, b...)
	q.free = max(t, q.free) + time.Duration(len(b))*q.Character
}

// Arrives is when the next byte has arrived, never when none is on its way.
func (q *Queue) Arrives() time.Duration {
	if len(q.bytes) == 0 {
		return never
	}
	return q.first
}

// Take removes what has arrived by t.
func (q *Queue) Take(t time.Duration, into []byte) int {
	n := 0
	for n < len(into) && n < len(q.bytes) && q.first <= t {
		into[n] = q.bytes[n]
		n++
		q.first += q.Character
	}
	q.bytes = q.bytes[:copy(q.bytes, q.bytes[n:])]
	return n
}

// Underway is what is on its way.
func (q *Queue) Underway() []byte { return q.bytes }

// Clear loses what is on its way.
func (q *Queue) Clear() { q.bytes, q.free = q.bytes[:0], 0 }

// contextInterval is how much of the rig's time passes between two looks at the context.
const contextInterval = 4 * time.Millisecond

// Run lets the rig's time pass up to to, or with orByte until a byte has arrived at the host: the one loop of every World's
// Advance. step has the world go on to the next instant at which something happens, and no further than it is told; it should
// take no more than some milliseconds of the rig's time, since ctx is looked at between two steps.
func (l *Line) Run(ctx context.Context, to time.Duration, orByte bool, step func(to time.Duration)) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	w := l.World
	look := w.Now() + contextInterval
	for w.Now() < to {
		stop := to
		if orByte {
			stop = min(stop, l.ToHost.Arrives())
			if stop <= w.Now() {
				return nil
			}
		}
		step(stop)
		if w.Now() >= look {
			if err := ctx.Err(); err != nil {
				return err
			}
			look = w.Now() + contextInterval
		}
	}
	return nil
}

// Read waits for a response of the station.
func (l *Line) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if err := l.check(ctx); err != nil || len(p) == 0 {
		return 0, err
	}
	w := l.World
	deadline := w.Now() + max(timeout, 0)
	for {
		if n := l.ToHost.Take(w.Now(), p); n > 0 {
			return n, nil
		}
		if w.Now() >= deadline {
			return 0, fmt.Errorf("read from the station: %v %w", timeout, link.ErrTimeout)
		}
		if err := w.Advance(ctx, deadline, true); err != nil {
			return 0, err
		}
	}
}

// Write hands p to the line. It takes no time while the transmit buffer has room.
func (l *Line) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if err := l.check(ctx); err != nil {
		return 0, err
	}
	w := l.World
	deadline := w.Now() + max(timeout, 0)
	for n := 0; ; {
		room := min(len(p)-n, TransmitBuffer-len(l.ToStation.bytes))
		l.ToStation.Put(w.Now(), p[n:n+room])
		n += room
		if n == len(p) {
			return n, nil
		}
		if w.Now() >= deadline {
			return n, fmt.Errorf("write to the station: %d of %d bytes, %w", n, len(p), link.ErrTimeout)
		}
		if err := w.Advance(ctx, min(deadline, w.Now()+l.ToStation.Character*time.Duration(min(len(p)-n, TransmitBuffer))), false); err != nil {
			return n, err
		}
	}
}

func (l *Line) check(ctx context.Context) error {
	if l.closed {
		return link.ErrClosed
	}
	return ctx.Err()
}

// Close frees the line. Later calls give link.ErrClosed.
func (l *Line) Close() error {
	l.closed = true
	return nil
}
