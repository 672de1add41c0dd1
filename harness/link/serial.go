package link

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.bug.st/serial"
)

const (
	// readSlice is how long a read of the port lasts at most before ctx is looked at: the library's Read knows no context.
	readSlice = 10 * time.Millisecond
	// writeChunk is how many bytes at most are in the hands of one write of the port, which nothing can call back.
	writeChunk = 64
	// freeLimit is how long Close tries to free a blocked writer, and closeLimit how long it lets the driver send what is
	// left. Drivers may hold a close for half a minute when the device takes nothing (closing_wait of Linux's serial core).
	freeLimit  = 250 * time.Millisecond
	closeLimit = time.Second
)

// A serialLink is a Link over a port of go.bug.st/serial. Reads are done by the caller in slices. The library's Write has
// no time limit, and its Close does not free a writer that is blocked; so one goroutine does the writing, in chunks.
type serialLink struct {
	port    serial.Port
	mode    serial.Mode
	pending []byte // arrived while the link was opened, not read yet

	chunks  chan []byte   // to the writer, never more than one
	results chan error    // from the writer, one for each chunk
	ended   chan struct{} // closed by the writer when it has gone
	busy    bool          // a chunk is in the writer's hands and its result has not been taken
	broken  error         // how a write ended the link

	closing sync.Once
	closed  chan struct{}
	failure error // of Close
}

func newSerialLink(port serial.Port, mode serial.Mode) *serialLink {
	l := &serialLink{port: port, mode: mode, chunks: make(chan []byte), results: make(chan error, 1),
		ended: make(chan struct{}), closed: make(chan struct{})}
	go l.writer()
	return l
}

// Read follows the rules of Link.
func (l *serialLink) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	deadline := time.Now().Add(max(timeout, 0))
	for {
		if err := l.usable(ctx); err != nil || len(p) == 0 {
			return 0, err
		}
		if len(l.pending) > 0 {
			n := copy(p, l.pending)
			l.pending = l.pending[n:]
			return n, nil
		}
		left := max(time.Until(deadline), 0)
		if err := l.port.SetReadTimeout(min(left, readSlice)); err != nil {
			return 0, gone(err)
		}
		n, err := l.port.Read(p)
		switch {
		case n > 0:
			return n, nil
		case err != nil:
			return 0, gone(err)
		case left == 0:
			// The library says 0, nil when its time has passed. The last look is one without waiting.
			return 0, ErrTimeout
		}
	}
}

// Write follows the rules of Link. What it counts is out of our hands and goes to the station as soon as that reads
// again, so a caller may go on with the rest; of the bytes counted in a timeout, up to writeChunk are not with the
// driver yet.
func (l *serialLink) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if err := l.usable(ctx); err != nil {
		return 0, err
	}
	timer := time.NewTimer(max(timeout, 0))
	defer timer.Stop()
	done := 0
	for l.busy || done < len(p) {
		if !l.busy {
			// A copy: the writer may hold it longer than this call lasts.
			chunk := append([]byte(nil), p[done:min(len(p), done+writeChunk)]...)
			select {
			case l.chunks <- chunk:
				l.busy, done = true, done+len(chunk)
			case <-l.closed:
				return done, ErrClosed
			}
		}
		select {
		case err := <-l.results:
			l.busy = false
			if err != nil {
				l.broken = gone(err)
				return done, l.broken
			}
		case <-timer.C:
			return done, fmt.Errorf("%w: the far end took %d of %d bytes", ErrTimeout, done, len(p))
		case <-ctx.Done():
			return done, ctx.Err()
		case <-l.closed:
			return done, ErrClosed
		}
	}
	return done, nil
}

// writer writes chunk after chunk until the link is closed. It never starts one after that: the library would write to
// the number of a file that may be another's by then.
func (l *serialLink) writer() {
	defer close(l.ended)
	for {
		select {
		case <-l.closed:
			return
		case chunk := <-l.chunks:
			l.results <- l.writeAll(chunk)
		}
	}
}

func (l *serialLink) writeAll(chunk []byte) error {
	for len(chunk) > 0 {
		select {
		case <-l.closed:
			return ErrClosed
		default:
		}
		n, err := l.port.Write(chunk)
		if err != nil {
			return err
		}
		chunk = chunk[n:]
	}
	return nil
}

// Close frees the port. What the driver has taken is still sent, unless the far end does not take it.
func (l *serialLink) Close() error {
	l.closing.Do(func() {
		close(l.closed)
		l.failure = l.release()
	})
	return l.failure
}

func (l *serialLink) release() error {
	freed := l.freeWriter()
	done := make(chan error, 1)
	go func() {
		// While the writer is in the driver's hands a close would free nothing, and its file number must stay taken.
		<-l.ended
		done <- l.port.Close()
	}()
	timer := time.NewTimer(closeLimit)
	defer timer.Stop()
	if !freed {
		timer.Reset(0)
	}
	select {
	case err := <-done:
		// A port that was pulled out cannot be closed in good order, and need not.
		if err != nil && !isGone(err) {
			return fmt.Errorf("link: closing the serial port: %w", err)
		}
		return nil
	case <-timer.C:
		return errors.New("link: closing the serial port: the driver holds it until the device takes what was sent; " +
			"unplug the device or switch it off")
	}
}

// freeWriter ends a blocked write by throwing away what the driver has not sent, and reports whether the writer has gone.
// Linux wakes a writer on a pseudo-terminal only when the settings are set again (n_tty_set_termios), not on the flush.
func (l *serialLink) freeWriter() bool {
	limit := time.NewTimer(freeLimit)
	defer limit.Stop()
	for wait := 2 * time.Millisecond; ; wait *= 2 {
		again := time.NewTimer(wait)
		select {
		case <-l.ended:
			again.Stop()
			return true
		case <-limit.C:
			again.Stop()
			return false
		case <-again.C:
		}
		// Errors say that the device has gone, which frees the writer as well.
		_ = l.port.ResetOutputBuffer()
		_ = l.port.SetMode(&l.mode)
	}
}

func (l *serialLink) usable(ctx context.Context) error {
	select {
	case <-l.closed:
		return ErrClosed
	default:
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return l.broken
}
