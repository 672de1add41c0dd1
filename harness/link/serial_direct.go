//go:build linux || darwin || freebsd || openbsd

package link

import (
	"context"
	"errors"
	"sync"
	"syscall"
	"time"

	"go.bug.st/serial"
	"go.bug.st/serial/unixutils"
)

// directChunk is how many bytes go to the driver before ctx and the time are looked at: a far end that reads as fast as we
// write could hold one long write beyond its time. Our own choice, about what Linux's terminals take at once.
const directChunk = 4096

// breath is the least pause between two writes that take nothing, for drivers that report room which they do not have.
const breath = time.Millisecond

// A directOutlet writes to a second descriptor of the device, in non-blocking mode, which the library's own is not and
// must not be made: then no write can block, and a short one costs no hand-over to a goroutine, whose price is that of the
// whole round trip over a pseudo-terminal.
type directOutlet struct {
	port   serial.Port
	closed <-chan struct{}

	mu   sync.Mutex // held while file is in use, so that its number is not another's when Close comes from elsewhere
	file int
	full bool // the driver did not take all of the last write
}

// openDirect opens the device in non-blocking mode, or returns nil when that does not succeed: what is wrong with a device
// is for the library's own opening to say. It must come before that, which makes the port exclusive.
func openDirect(device string) outlet {
	file, err := syscall.Open(device, syscall.O_WRONLY|syscall.O_NOCTTY|syscall.O_NONBLOCK|syscall.O_CLOEXEC, 0)
	if err != nil {
		return nil
	}
	return &directOutlet{file: file}
}

func (o *directOutlet) attach(port serial.Port, closed <-chan struct{}) {
	o.port, o.closed = port, closed
}

func (o *directOutlet) write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	var deadline time.Time // not needed by a write that is taken at once, as nearly all are
	for done, waits := 0, 0; ; {
		n, err := o.some(p[done:min(len(p), done+directChunk)])
		done += n
		switch {
		case err != nil:
			return done, gone(err)
		case done == len(p):
			return done, nil
		}
		if deadline.IsZero() {
			deadline = time.Now().Add(max(timeout, 0))
		}
		left := time.Until(deadline)
		if left <= 0 {
			return done, tookOnly(done, len(p))
		}
		if n > 0 {
			waits = 0
		} else {
			if waits++; waits > 1 {
				time.Sleep(min(left, breath))
			}
			o.await(min(left, readSlice))
		}
		if err := ctx.Err(); err != nil {
			return done, err
		}
	}
}

// some writes what is taken without waiting.
func (o *directOutlet) some(p []byte) (n int, err error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for {
		select {
		case <-o.closed:
			return 0, ErrClosed
		default:
		}
		n, err = syscall.Write(o.file, p)
		if err == nil || !errors.Is(err, syscall.EINTR) {
			break
		}
	}
	n = max(n, 0)
	o.full = n < len(p)
	if errors.Is(err, syscall.EAGAIN) {
		err = nil
	}
	return n, err
}

// await waits until the driver takes something, or gives its opinion that it never will, but no longer than d.
func (o *directOutlet) await(d time.Duration) {
	o.mu.Lock()
	defer o.mu.Unlock()
	select {
	case <-o.closed:
		return
	default:
	}
	// An error comes again at the next write, which says more about it.
	_, _ = unixutils.Select(nil, unixutils.NewFDSet(o.file), nil, d)
}

// free throws away what the driver has not sent of a write that was not taken whole: else closing would wait for a far end
// that does not read.
func (o *directOutlet) free() bool {
	o.mu.Lock() // the flush must not meet a write
	defer o.mu.Unlock()
	if o.full {
		_ = o.port.ResetOutputBuffer() // an error says that the device has gone
	}
	return true
}

func (o *directOutlet) end() {
	o.mu.Lock()
	defer o.mu.Unlock()
	_ = syscall.Close(o.file)
}
