package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"bufferstop/harness/link"
)

// carryLimit is how long bytes may be on their way over the link, in real time, before they count as lost. A busy
// machine may take tens of milliseconds; our own choice.
const carryLimit = 5 * time.Second

// A crossing is the real link from the harness to a station inside. Since both ends are here, it is known how many bytes are
// on their way, and a byte that is late because the machine is busy is never taken for one that the station has not said.
type crossing struct {
	near, far link.Link
	// translated says that what comes out at one end is not what went in at the other: an adapter stands between.
	translated bool
	limit      time.Duration // carryLimit, but for tests
	// flying is how many bytes the station has sent and the harness has not received.
	flying int
}

// carry sends bytes in at one end and takes as many out at the other.
func (w *crossing) carry(ctx context.Context, from, to link.Link, p []byte) ([]byte, error) {
	if n, err := from.Write(ctx, p, w.limit); err != nil {
		return nil, w.lost(err, n, len(p))
	}
	return w.take(ctx, to, len(p))
}

// take takes so many bytes out at one end.
func (w *crossing) take(ctx context.Context, to link.Link, count int) ([]byte, error) {
	arrived := make([]byte, count)
	deadline := time.Now().Add(w.limit)
	for n := 0; n < count; {
		more, err := to.Read(ctx, arrived[n:], max(time.Until(deadline), 0))
		n += more
		if err != nil {
			return arrived[:n], w.lost(err, n, count)
		}
	}
	return arrived, nil
}

// deadlineOf is the time on the clock after which a call has timed out.
func deadlineOf(c link.Clock, timeout time.Duration) time.Duration {
	now := c.Now()
	return now + min(max(timeout, 0), math.MaxInt64-now)
}

// lost says that bytes did not come over: the fault of the link, and never of the station.
func (w *crossing) lost(err error, n, count int) error {
	if errors.Is(err, link.ErrTimeout) {
		return fmt.Errorf("%w: of %d bytes, %d came over within %v", link.ErrClosed, count, n, w.limit)
	}
	return err
}

// Close closes the near end. The far one is the port's.
func (w *crossing) Close() error { return w.near.Close() }

// counted is the far end as the station uses it. It tells the crossing what it sends; and when the far end is gone, it goes on
// as a station does whose cable was pulled. The harness learns of it at the near end.
type counted struct{ *crossing }

func (c counted) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := c.far.Read(ctx, p, timeout)
	if errors.Is(err, link.ErrClosed) {
		time.Sleep(timeout)
		return n, link.ErrTimeout
	}
	return n, err
}

func (c counted) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := c.far.Write(ctx, p, timeout)
	if errors.Is(err, link.ErrClosed) {
		return len(p), nil
	}
	c.flying += n
	return n, err
}
