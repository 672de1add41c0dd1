package simulated

import (
	"context"
	"fmt"
	"time"

	"bufferstop/harness/link"
)

// line is a serial line to the station: ten bits a character at the baud rate, each way.
type line struct {
	rig       *Rig
	character time.Duration // to send one
	toStation queue
	toHost    queue
	closed    bool
}

// queue is one way of the line.
type queue struct {
	bytes []byte
	first time.Duration // when the first of them has arrived; the others follow at the pace of the line
	free  time.Duration // when the line is free again
}

// transmitBuffer is how many characters the host's serial driver takes before a writer has to wait.
const transmitBuffer = 4096

// put hands bytes to the sending end at t.
func (q *queue) put(t, character time.Duration, b []byte) {
	if len(b) == 0 {
		return
	}
	if len(q.bytes) == 0 {
		q.first = max(t, q.free) + character
	}
	q.bytes = append(q.bytes, b...)
	q.free = max(t, q.free) + time.Duration(len(b))*character
}

// arrives is when the next byte has arrived, never when none is on its way.
func (q *queue) arrives() time.Duration {
	if len(q.bytes) == 0 {
		return never
	}
	return q.first
}

// take removes what has arrived by t.
func (q *queue) take(t, character time.Duration, into []byte) int {
	n := 0
	for n < len(into) && n < len(q.bytes) && q.first <= t {
		into[n] = q.bytes[n]
		n++
		q.first += character
	}
	q.bytes = q.bytes[:copy(q.bytes, q.bytes[n:])]
	return n
}

func (q *queue) clear() { q.bytes, q.free = q.bytes[:0], 0 }

// Read waits for a response of the station.
func (l *line) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if err := l.check(ctx); err != nil || len(p) == 0 {
		return 0, err
	}
	w := l.rig
	deadline := w.now + max(timeout, 0)
	for {
		if n := l.toHost.take(w.now, l.character, p); n > 0 {
			return n, nil
		}
		if w.now >= deadline {
			return 0, fmt.Errorf("read from the simulated station: %v %w", timeout, link.ErrTimeout)
		}
		if err := w.advance(ctx, deadline, untilByte); err != nil {
			return 0, err
		}
	}
}

// Write hands p to the line. It takes no time while the transmit buffer has room.
func (l *line) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if err := l.check(ctx); err != nil {
		return 0, err
	}
	w := l.rig
	deadline := w.now + max(timeout, 0)
	for n := 0; ; {
		room := min(len(p)-n, transmitBuffer-len(l.toStation.bytes))
		l.toStation.put(w.now, l.character, p[n:n+room])
		n += room
		if n == len(p) {
			return n, nil
		}
		if w.now >= deadline {
			return n, fmt.Errorf("write to the simulated station: %d of %d bytes, %w", n, len(p), link.ErrTimeout)
		}
		if err := w.advance(ctx, min(deadline, w.now+l.character*time.Duration(min(len(p)-n, transmitBuffer))), untilTime); err != nil {
			return n, err
		}
	}
}

func (l *line) check(ctx context.Context) error {
	if l.closed {
		return link.ErrClosed
	}
	return ctx.Err()
}

// Close frees the line. Later calls give link.ErrClosed.
func (l *line) Close() error {
	l.closed = true
	return nil
}
