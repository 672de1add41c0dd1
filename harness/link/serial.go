package link

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"go.bug.st/serial"
)

const (
	// readSlice is how long a read of the port, or a wait for room to write, lasts at most before ctx is looked at: neither
	// knows a context.
	readSlice = 10 * time.Millisecond
	// closeLimit is how long Close lets the driver send what is left. Drivers may hold a close for half a minute when the
	// device takes nothing (closing_wait of Linux's serial core).
	closeLimit = time.Second
)

// A serialLink is a Link over a port of go.bug.st/serial. Reads are done by the caller in slices. The library's Write has
// no time limit, and its Close does not free a writer that is blocked; so writing goes another way, an outlet.
type serialLink struct {
	port        serial.Port
	out         outlet
	readTimeout time.Duration // as the port has it; setting it is a call of the system on some
	pending     []byte        // arrived while the link was opened, not read yet

	broken atomic.Pointer[error] // how a write ended the link

	closing sync.Once
	closed  chan struct{}
	failure error // of Close
}

// An outlet is a way to write to an open port.
type outlet interface {
	// attach tells it the port, once that is open, and the channel that is closed when the link is.
	attach(port serial.Port, closed <-chan struct{})
	// write follows the rules of Link.Write. It ends soon after the link's closed channel is closed.
	write(ctx context.Context, p []byte, timeout time.Duration) (int, error)
	// free ends a write that is blocked in the driver, or what it left there, and reports whether that succeeded. The
	// closed channel is closed before.
	free() bool
	// end waits until nothing writes any more and frees what the outlet holds, also when it was never attached.
	end()
}

func newSerialLink(port serial.Port, out outlet) *serialLink {
	l := &serialLink{port: port, out: out, readTimeout: serial.NoTimeout, closed: make(chan struct{})}
	out.attach(port, l.closed)
	return l
}

// Read follows the rules of Link.
func (l *serialLink) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	deadline := time.Now().Add(max(timeout, 0))
	for left := max(timeout, 0); ; left = max(time.Until(deadline), 0) {
		if err := l.usable(ctx); err != nil || len(p) == 0 {
			return 0, err
		}
		if len(l.pending) > 0 {
			n := copy(p, l.pending)
			l.pending = l.pending[n:]
			return n, nil
		}
		if slice := min(left, readSlice); slice != l.readTimeout {
			if err := l.port.SetReadTimeout(slice); err != nil {
				return 0, gone(err)
			}
			l.readTimeout = slice
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
// again, so a caller may go on with the rest.
func (l *serialLink) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if err := l.usable(ctx); err != nil {
		return 0, err
	}
	n, err := l.out.write(ctx, p, timeout)
	if err != nil && errors.Is(err, ErrClosed) {
		l.broken.Store(&err)
	}
	return n, err
}

// Duplex is true: reading and writing share nothing but the ends of the link.
func (l *serialLink) Duplex() bool { return true }

// Close frees the port. What the driver has taken is still sent, unless the far end does not take it.
func (l *serialLink) Close() error {
	l.closing.Do(func() {
		close(l.closed)
		l.failure = l.release()
	})
	return l.failure
}

func (l *serialLink) release() error {
	freed := l.out.free()
	done := make(chan error, 1)
	go func() {
		// While a writer is in the driver's hands a close would free nothing, and its file number must stay taken.
		l.out.end()
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

func (l *serialLink) usable(ctx context.Context) error {
	select {
	case <-l.closed:
		return ErrClosed
	default:
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if broken := l.broken.Load(); broken != nil {
		return *broken
	}
	return nil
}
