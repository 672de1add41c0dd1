// Package serving offers a simulated station to other programs: at a pseudo-terminal, which they open as a serial port, or
// at a TCP port. A port outlives its clients. They come and go, one at a time, and the station goes on meanwhile, as a real
// one does when its cable is pulled.
package serving

import (
	"context"
	"errors"
	"os"
	"time"

	"bufferstop/harness/link"
)

// A Port is the station's end of the link. What it says while no client is there is lost. It is used by one goroutine at
// a time; calls end as those of a link.Link do, but link.ErrClosed only says that the port itself was closed.
type Port interface {
	link.Link
	// Address is where clients find the station.
	Address() link.Address
}

// A Notice tells of a client.
type Notice struct {
	Event  Event
	Client string // who, as far as it is known; empty at a pseudo-terminal
}

// Event is what a client did.
type Event string

// What clients do.
const (
	Came    Event = "came"
	Went    Event = "went"
	Refused Event = "was refused" // because another one is there
)

// atLeast is how long a call may last whose timeout is zero: a file whose deadline has passed does not look at all.
const atLeast = time.Millisecond

// within makes a call with a deadline, which moves to the past when ctx ends. The error is link.ErrTimeout, that of ctx,
// or what the call returned.
func within(ctx context.Context, timeout time.Duration, deadline func(time.Time) error, call func() (int, error)) (int, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	if err := deadline(time.Now().Add(max(timeout, atLeast))); err != nil {
		return 0, err
	}
	cut := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(cut)
		_ = deadline(time.Unix(1, 0)) // fails only for what is closed, which ends the call as well
	})
	n, err := call()
	if !stop() {
		<-cut // or it would cut short the next call
	}
	switch {
	case n > 0:
		return n, nil // an error comes again
	case err == nil || !errors.Is(err, os.ErrDeadlineExceeded):
		return n, err
	case ctx.Err() != nil:
		return n, ctx.Err()
	}
	return n, link.ErrTimeout
}

// pause lets the time pass in which no client is there.
func pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(max(d, atLeast))
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return link.ErrTimeout
	}
}
