package probe

import (
	"errors"
	"fmt"
)

// What can go wrong with a probe. Test with errors.Is.
var (
	// ErrLost says that the probe is gone, or was gone while an answer was awaited.
	ErrLost = errors.New("probe: lost")
	// ErrNoAnswer says that the probe did not answer in time although its link is open.
	ErrNoAnswer = errors.New("probe: no answer")
	// ErrUnknownType says that a frame has a type which this version does not know.
	ErrUnknownType = errors.New("probe: unknown frame")
	// ErrVersion says that the probe speaks a version of the protocol that we do not.
	ErrVersion = errors.New("probe: other version of the protocol")
	// ErrBusy says that more commands wait for the probe than are allowed to.
	ErrBusy = errors.New("probe: too many commands at once")
	// ErrClosed says that the client was closed.
	ErrClosed = errors.New("probe: closed")
)

// A Reason says why a probe refuses a command.
type Reason uint8

// The reasons.
const (
	ReasonUnknown   Reason = 1 // no such command
	ReasonLength    Reason = 2 // the payload is too short or too long
	ReasonRange     Reason = 3 // a value is out of range
	ReasonNotFitted Reason = 4 // the probe has nothing that could
	ReasonBusy      Reason = 5 // a queue is full
	ReasonOrder     Reason = 6 // not now: no HELLO has come since the probe's reset
)

func (r Reason) String() string {
	switch r {
	case ReasonUnknown:
		return "unknown command"
	case ReasonLength:
		return "wrong length"
	case ReasonRange:
		return "out of range"
	case ReasonNotFitted:
		return "not fitted"
	case ReasonBusy:
		return "busy"
	case ReasonOrder:
		return "out of order"
	}
	return fmt.Sprintf("reason %d", uint8(r))
}

// Error names the command and why.
func (m Refused) Error() string {
	return fmt.Sprintf("probe: %v refused: %v", m.Command, m.Reason)
}
