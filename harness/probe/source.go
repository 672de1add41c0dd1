package probe

import (
	"context"
	"fmt"
	"time"
)

// A Source is a probe that can at least see: a [Client], a logic analyser or a capture file. Only a Client has hands as well.
// Pump is called by one goroutine at a time, the rest by any.
type Source interface {
	// Hello is who the probe is and what it can do.
	Hello() Hello
	// Pump hands all that has come to s, in the goroutine that calls it, and reports whether there was something. It waits
	// up to wait for the first. When nothing more can come and everything has been handed out, it returns an error: io.EOF
	// when a capture is over, one that is ErrLost when a probe is gone.
	Pump(ctx context.Context, wait time.Duration, s Sink) (bool, error)
	// Arrived signals that Pump has something. After a signal is taken, call Pump.
	Arrived() <-chan struct{}
	// Health says how well it goes.
	Health() Health
	// Close frees the probe. A second Close does nothing.
	Close() error
}

// CaptureOver is the event of a [Source] that is a capture: there is no more of it. No probe sends it.
const CaptureOver What = 0xff

// An AddressError says what of the address of a probe is wrong, and where.
type AddressError struct {
	// At is the byte of the address, counted from 0 (the text counts from 1), at which what is wrong begins.
	At                    int
	What, Got, Want, Hint string
}

// Error says where and what, what was got and wanted, then the hint.
func (e *AddressError) Error() string {
	text := fmt.Sprintf("probe address, byte %d: %s: got %+q, want %s", e.At+1, e.What, e.Got, e.Want)
	if e.Hint != "" {
		text += " (" + e.Hint + ")"
	}
	return text
}

var _ Source = (*Client)(nil)
