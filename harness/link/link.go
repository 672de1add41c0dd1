// Package link carries bytes between the harness and a station.
//
// A Link is the least that a serial port, a network connection and a simulated wire have in common: a byte stream on
// which every call has a deadline. Deadlines are spans of the rig's own time (harness.Rig), so that a simulated rig can
// spend them without a second passing on the wall.
package link

import (
	"context"
	"errors"
	"time"
)

// The ways in which a call on a link can end without doing what was asked. Test with errors.Is.
var (
	// ErrTimeout says that the time allowed passed on the rig's clock first.
	ErrTimeout = errors.New("link: time allowed has passed")
	// ErrClosed says that the link is closed, by us or by the far end.
	ErrClosed = errors.New("link: closed")
)

// A Link is a byte stream to a station with a deadline on every call. It is used by one goroutine at a time, but see
// Duplex.
type Link interface {
	// Read waits until at least one byte has arrived and puts what is there into p. It returns ErrTimeout with n = 0
	// when nothing came within the allowed time, ErrClosed when the far end is gone, ctx.Err() when ctx ends first.
	// A timeout of zero takes what has arrived already. It never returns 0, nil for a p that is not empty.
	Read(ctx context.Context, p []byte, timeout time.Duration) (n int, err error)
	// Write hands all of p to the far end or says how much it could within the allowed time.
	Write(ctx context.Context, p []byte, timeout time.Duration) (n int, err error)
	// Close frees the link. A second Close does nothing.
	Close() error
}

// A Duplex is a Link that one goroutine may read while another writes, if Duplex says so. The answer may change when the
// link was opened again.
type Duplex interface {
	Link
	Duplex() bool
}
