package probe

import (
	"context"
	"errors"
	"sync"
	"time"

	"bufferstop/harness/link"
)

// oneWay is how long a link that does one thing at a time is read before others have their turn.
const oneWay = time.Millisecond

// A duplex is a link that may be read and written by two goroutines. Links that are not made for that are given to one at
// a time, in turns so short that a command is not late.
type duplex struct {
	link.Link
	turn sync.Mutex
}

func (d *duplex) both() bool {
	l, ok := d.Link.(link.Duplex)
	return ok && l.Duplex()
}

func (d *duplex) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if d.both() {
		return d.Link.Read(ctx, p, timeout)
	}
	for {
		n, err := d.once(ctx, p, min(timeout, oneWay))
		if timeout -= oneWay; timeout <= 0 || !errors.Is(err, link.ErrTimeout) {
			return n, err
		}
	}
}

func (d *duplex) once(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	d.turn.Lock()
	defer d.turn.Unlock()
	return d.Link.Read(ctx, p, timeout)
}

func (d *duplex) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if !d.both() {
		d.turn.Lock()
		defer d.turn.Unlock()
	}
	return d.Link.Write(ctx, p, timeout)
}
