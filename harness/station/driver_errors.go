package station

import (
	"cmp"
	"errors"
	"fmt"

	"bufferstop/harness/link"
)

// The ways in which no answer comes. They are all link.ErrTimeout too, but for a keep-alive that failed for another reason.
var (
	// ErrNoAnswer says that a message was sent and not answered in time.
	ErrNoAnswer = errors.New("no answer")
	// ErrNotTaken says that the link did not take what was to be sent.
	ErrNotTaken = errors.New("the link does not take what is sent")
	// ErrSilent says that the station did not answer the question that brings it into step, which was asked again and again.
	ErrSilent = errors.New("no sign of life from the station")
	// ErrRestless says that the line never was quiet, so that no message on it can be known for an answer.
	ErrRestless = errors.New("the station talks without pause")
	// ErrKeepAlive says that what a station wants to hear while nothing is asked of it could not be said, or was not
	// answered.
	ErrKeepAlive = errors.New("keeping the connection alive")
)

// noAnswer is an ErrNoAnswer.
type noAnswer struct {
	sent string
	err  error
}

func (n *noAnswer) Error() string { return fmt.Sprintf("answer to %q: %v", n.sent, n.Unwrap()) }

func (n *noAnswer) Is(target error) bool { return target == ErrNoAnswer }

func (n *noAnswer) Unwrap() error { return cmp.Or(n.err, link.ErrTimeout) }

// EndlessAnswer says that an answer in parts went on for longer than any should.
type EndlessAnswer struct {
	Parts, Bytes int // that were read
}

// Error says how long.
func (e *EndlessAnswer) Error() string {
	return fmt.Sprintf("an answer without an end: %d parts with %d bytes until now, want at most %d parts and %d bytes",
		e.Parts, e.Bytes, mostParts, mostPartBytes)
}
