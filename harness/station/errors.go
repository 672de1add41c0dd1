package station

import (
	"errors"
	"fmt"
)

// Answers of a station that are not what was hoped for. Test with errors.Is.
var (
	// ErrNoAcknowledge says that the station saw no acknowledge pulse from a decoder (S-9.2.3 D, July 2012).
	ErrNoAcknowledge = errors.New("the station saw no acknowledge")
	// ErrTripped says that the station has switched the track off because of an overload.
	ErrTripped = errors.New("the track has tripped")
	// ErrBusy says that the station answered busy until the time allowed had passed.
	ErrBusy = errors.New("the station is busy")
	// ErrNotSupported says that the dialect has no way to ask for this. Nothing was sent. Every *NotSupported is one.
	ErrNotSupported = errors.New("the dialect has no way to ask for this")
)

// Refused says that the station understood and declined, or that it did not understand.
type Refused struct {
	Code string // as the station gave it; empty when the dialect's pattern has no group "code"
	Text string // as the station gave it: untrusted
}

// Error quotes what the station said.
func (r *Refused) Error() string {
	switch {
	case r.Code == "" && r.Text == "":
		return "the station refused"
	case r.Text == "":
		return fmt.Sprintf("the station refused with code %q", r.Code)
	case r.Code == "":
		return fmt.Sprintf("the station refused: %q", r.Text)
	}
	return fmt.Sprintf("the station refused with code %q: %q", r.Code, r.Text)
}

// UnexpectedAnswer says that a line came back which no pattern of the operation knows, or whose value is no value.
type UnexpectedAnswer struct {
	Operation Operation
	Sent, Got string // without line ends; Got is untrusted
	Want      string // what the dialect expects, in words
}

// Error shows both sides.
func (u *UnexpectedAnswer) Error() string {
	return fmt.Sprintf("unexpected answer to %q: got %q, want %s", u.Sent, u.Got, u.Want)
}

// NotSupported says what the dialect cannot ask for. errors.Is(err, ErrNotSupported) is true for it.
type NotSupported struct {
	Operation Operation
	Why       string
}

// Error says why.
func (n *NotSupported) Error() string { return fmt.Sprintf("not supported: %s", n.Why) }

// Is makes every NotSupported an ErrNotSupported.
func (n *NotSupported) Is(target error) bool { return target == ErrNotSupported }
