package link

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// The pauses between attempts to open: a device that comes back does so within a second or a few, and each attempt may ask
// the system for all its ports. Our own choice.
const (
	firstPause   = 20 * time.Millisecond
	longestPause = 250 * time.Millisecond
)

// A ReopeningLink is a Link that comes back after the link behind it was lost: a cable put back, a serial server started
// again. Whoever uses it learns of each loss from the one call that met it, because an answer may have been lost; the next
// call opens the link again. Like every link it is used by one goroutine at a time, but Close may come from another.
type ReopeningLink struct {
	open  func(ctx context.Context) (Link, error)
	limit time.Duration

	life context.Context // ends with Close
	end  context.CancelFunc

	opening chan struct{} // holds one thing while somebody opens

	mu      sync.Mutex // for what follows
	link    Link       // nil when there is none
	opened  int
	failure error // for good: not opened again within the limit

	released error // of closing, when the link was closed for good
}

// Reopening returns a link that open makes, at the first call or by Open, and makes again after each loss. A call on a lost
// link waits up to limit, beyond its own time, until the link is open, because opening may take longer than a call should
// (a board restarts and settles). If it does not come back, that call and every later one return ErrClosed. The context
// of the call is honoured: when it ends first, nothing is given up and the next call tries again. A link that
// was given up can still be opened by Open.
func Reopening(open func(ctx context.Context) (Link, error), limit time.Duration) *ReopeningLink {
	l := &ReopeningLink{open: open, limit: limit, opening: make(chan struct{}, 1)}
	l.life, l.end = context.WithCancel(context.Background())
	return l
}

// Open opens the link now if it is not open, with a single attempt, and returns what went wrong as it is: to learn at the
// start that an address is wrong.
func (l *ReopeningLink) Open(ctx context.Context) error {
	if l.current() != nil {
		return nil
	}
	if l.life.Err() != nil {
		return ErrClosed
	}
	ctx, cancel := l.during(ctx)
	defer cancel()
	opened, err := l.open(ctx)
	if err != nil {
		return err
	}
	return l.take(opened)
}

// Reopen closes the link behind, and opens it again after a while: what a program does that ends and is started again. Nobody
// is told of a loss by it. A link that cannot be opened again at once is tried for as long as after a loss.
func (l *ReopeningLink) Reopen(ctx context.Context, closed time.Duration) error {
	l.mu.Lock()
	if l.link != nil {
		_ = l.link.Close() // what it has to say is of no use any more
		l.link = nil
	}
	l.mu.Unlock()
	timer := time.NewTimer(closed)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
		return ctx.Err()
	case <-l.life.Done():
		return ErrClosed
	}
	_, err := l.ready(ctx)
	return err
}

// Reopened is how often the link was opened again.
func (l *ReopeningLink) Reopened() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return max(l.opened-1, 0)
}

// Duplex reports whether the link behind is one that may be read and written at the same time. When both meet a loss, each
// learns of it, or one of them after the other has opened the link again.
func (l *ReopeningLink) Duplex() bool {
	duplex, ok := l.current().(Duplex)
	return ok && duplex.Duplex()
}

// Read follows the rules of Link.
func (l *ReopeningLink) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	current, err := l.ready(ctx)
	if err != nil {
		return 0, err
	}
	n, err := current.Read(ctx, p, timeout)
	l.lose(current, err)
	return n, err
}

// Write follows the rules of Link. After a loss nothing is written again that was not asked for again.
func (l *ReopeningLink) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	current, err := l.ready(ctx)
	if err != nil {
		return 0, err
	}
	n, err := current.Write(ctx, p, timeout)
	l.lose(current, err)
	return n, err
}

// Close closes the link behind for good.
func (l *ReopeningLink) Close() error {
	l.end()
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.link != nil {
		l.released = l.link.Close()
		l.link = nil
	}
	return l.released
}

func (l *ReopeningLink) current() Link {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.link
}

// take keeps a link that was opened, unless the whole was closed meanwhile.
func (l *ReopeningLink) take(opened Link) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.life.Err() != nil {
		_ = opened.Close()
		return ErrClosed
	}
	l.link, l.failure = opened, nil
	l.opened++
	return nil
}

// lose lets go of a link that is gone, at once: while we hold it, a device comes back under another name.
func (l *ReopeningLink) lose(current Link, err error) {
	if err == nil || !errors.Is(err, ErrClosed) {
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.link == current {
		l.link = nil
		_ = current.Close() // that of a link that is gone tells nothing
	}
}

// ready returns the link behind, opened again if need be.
func (l *ReopeningLink) ready(ctx context.Context) (Link, error) {
	if current := l.current(); current != nil {
		return current, nil
	}
	select {
	case l.opening <- struct{}{}:
		defer func() { <-l.opening }()
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-l.life.Done():
		return nil, ErrClosed
	}
	l.mu.Lock()
	current, times, failure := l.link, l.opened, l.failure
	l.mu.Unlock()
	switch {
	case current != nil: // opened by another meanwhile
		return current, nil
	case l.life.Err() != nil:
		return nil, ErrClosed
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case failure != nil:
		return nil, failure
	}
	attempt, cancel := l.during(ctx)
	defer cancel()
	attempt, stop := context.WithTimeout(attempt, l.limit)
	defer stop()
	var last error
	for pause := firstPause; ; pause = min(2*pause, longestPause) {
		opened, err := l.open(attempt)
		if err == nil {
			if err := l.take(opened); err != nil {
				return nil, err
			}
			return opened, nil
		}
		if last == nil || attempt.Err() == nil {
			last = err // not that the time has passed, but what happened until then
		}
		timer := time.NewTimer(pause)
		select {
		case <-timer.C:
			continue
		case <-attempt.Done():
			timer.Stop()
		}
		switch {
		case l.life.Err() != nil:
			return nil, ErrClosed
		case ctx.Err() != nil:
			return nil, ctx.Err()
		}
		// Only the text of the cause: that some attempt timed out must not make a timeout of the loss.
		happened := "open"
		if times > 0 {
			happened = "come back"
		}
		failure = fmt.Errorf("%w: it did not %s within %v: %v", ErrClosed, happened, l.limit, last)
		l.mu.Lock()
		defer l.mu.Unlock()
		l.failure = failure
		return nil, failure
	}
}

// during returns ctx, ended by Close as well.
func (l *ReopeningLink) during(ctx context.Context) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(ctx)
	stop := context.AfterFunc(l.life, cancel)
	return ctx, func() { stop(); cancel() }
}
