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
func (l *serialLink) start(ctx context.Context, c SerialConfig) (err error) {
	l.pending, err = startUp(ctx, l, "serial port "+c.Device, c)
	return err
}

// startUp waits on l, which errors call name, for the station as the configuration says, and discards what it says while it
// starts. What it has read beyond that is the rest, to be read before all else.
func startUp(ctx context.Context, l Link, name string, c SerialConfig) (rest []byte, err error) {
	if c.Await != nil {
		if rest, err = await(ctx, l, name, c); err != nil {
			return nil, err
		}
	}
	if c.Settle <= 0 {
		return rest, nil
	}
	deadline := time.Now().Add(c.Settle)
	p := make([]byte, awaitWindow)
	for left := c.Settle; left > 0; left = time.Until(deadline) {
		if _, err := l.Read(ctx, p, left); err != nil && !errors.Is(err, ErrTimeout) {
			return nil, fmt.Errorf("link: %s: while it settles: %w", name, err)
		}
	}
	return nil, nil
}

func await(ctx context.Context, l Link, name string, c SerialConfig) (rest []byte, err error) {
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
			return append([]byte(nil), window[found[1]:]...), nil
		}
		if err != nil {
			return nil, fmt.Errorf("link: %s: waiting for the station to start: got %s, want a match of %q "+
				"within %v: %w (does it speak at this baud rate?)", name, tail(window), c.Await, limit, err)
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
