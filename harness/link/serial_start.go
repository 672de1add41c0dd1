package link

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// awaitWindow is how many of the latest bytes a pattern is looked for in, so that a station which floods costs no memory.
const awaitWindow = 4096

// start waits for the station as the configuration says, and discards what it says while it starts.
func (l *serialLink) start(ctx context.Context, c SerialConfig) error {
	if c.Await != nil {
		if err := l.await(ctx, c); err != nil {
			return err
		}
	}
	if c.Settle <= 0 {
		return nil
	}
	deadline := time.Now().Add(c.Settle)
	p := make([]byte, awaitWindow)
	for left := c.Settle; left > 0; left = time.Until(deadline) {
		if _, err := l.Read(ctx, p, left); err != nil && !errors.Is(err, ErrTimeout) {
			return fmt.Errorf("link: serial port %s: while it settles: %w", c.Device, err)
		}
	}
	return nil
}

func (l *serialLink) await(ctx context.Context, c SerialConfig) error {
	limit := c.AwaitLimit
	if limit <= 0 {
		limit = defaultAwaitLimit
	}
	deadline := time.Now().Add(limit)
	var window []byte
	p := make([]byte, 256)
	for {
		left := time.Until(deadline)
		n, err := 0, ErrTimeout
		if left > 0 { // a station that floods must not hold us beyond the limit
			n, err = l.Read(ctx, p, left)
		}
		window = append(window, p[:n]...)
		if found := c.Await.FindIndex(window); found != nil {
			l.pending = append([]byte(nil), window[found[1]:]...)
			return nil
		}
		if err != nil {
			return fmt.Errorf("link: serial port %s: waiting for the station to start: got %s, want a match of %q "+
				"within %v: %w (does it speak at this baud rate?)", c.Device, tail(window), c.Await, limit, err)
		}
		if len(window) > awaitWindow {
			window = append(window[:0], window[len(window)-awaitWindow/2:]...)
		}
	}
}

// tail quotes the end of what arrived, in a form that harms no terminal.
func tail(b []byte) string {
	const shown = 80
	if len(b) == 0 {
		return "nothing"
	}
	if len(b) > shown {
		return fmt.Sprintf("... %+q", b[len(b)-shown:])
	}
	return fmt.Sprintf("%+q", b)
}
