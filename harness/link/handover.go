package link

import (
	"context"
	"fmt"
	"io"
	"time"
)

// A handover writes to what knows no time limit and cannot be called back: one goroutine does the writing, in chunks, and
// the caller waits for it no longer than allowed.
type handover struct {
	chunk   []byte
	chunks  chan []byte   // to the goroutine, never more than one
	results chan error    // from the goroutine, one for each chunk
	busy    bool          // a chunk is in the goroutine's hands and its result has not been taken
	ended   chan struct{} // closed by the goroutine when it has gone
	closed  <-chan struct{}
}

// newHandover starts the goroutine, which ends after the write it is in when closed is closed. Size is that of a chunk.
func newHandover(to io.Writer, size int, closed <-chan struct{}) *handover {
	h := &handover{chunk: make([]byte, 0, size), chunks: make(chan []byte), results: make(chan error, 1),
		ended: make(chan struct{}), closed: closed}
	go h.run(to)
	return h
}

// write follows the rules of Link.Write. What it counts is out of the caller's hands and goes on as soon as the far end
// reads again, so a caller may go on with the rest; of the bytes counted in a timeout, up to a chunk are not with the
// system yet.
func (h *handover) write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	timer := time.NewTimer(max(timeout, 0))
	defer timer.Stop()
	done := 0
	for h.busy || done < len(p) {
		if !h.busy {
			// A copy: the goroutine may hold it longer than this call lasts.
			h.chunk = append(h.chunk[:0], p[done:min(len(p), done+cap(h.chunk))]...)
			select {
			case h.chunks <- h.chunk:
				h.busy, done = true, done+len(h.chunk)
			case <-h.closed:
				return done, ErrClosed
			}
		}
		select {
		case err := <-h.results:
			h.busy = false
			if err != nil {
				return done, gone(err)
			}
		case <-timer.C:
			return done, tookOnly(done, len(p))
		case <-ctx.Done():
			return done, ctx.Err()
		case <-h.closed:
			return done, ErrClosed
		}
	}
	return done, nil
}

// run never starts a write after closed: a file number may be another's by then.
func (h *handover) run(to io.Writer) {
	defer close(h.ended)
	for {
		select {
		case <-h.closed:
			return
		case chunk := <-h.chunks:
			h.results <- h.writeAll(to, chunk)
		}
	}
}

func (h *handover) writeAll(to io.Writer, chunk []byte) error {
	for len(chunk) > 0 {
		select {
		case <-h.closed:
			return ErrClosed
		default:
		}
		n, err := to.Write(chunk)
		if err != nil {
			return err
		}
		chunk = chunk[n:]
	}
	return nil
}

// tookOnly is the error of a write whose time passed.
func tookOnly(done, of int) error {
	return fmt.Errorf("%w: the far end took %d of %d bytes", ErrTimeout, done, of)
}
