package station

import (
	"errors"
	"fmt"
	"strings"

	"bufferstop/harness/link"
)

// LinkHealth counts what a driver has met that tells of the line to the station. What the station says between answers,
// and what it says while it starts up, is not in it, however strange it looks.
type LinkHealth struct {
	// Garbled counts answers that came damaged: with a wrong checksum or length, with bytes that are no text where the
	// language has only text, or after an echo that is not what was sent.
	Garbled int
	// Differing counts questions that were answered in another way when Diagnose or Prove asked them again.
	Differing int
	// Lost counts questions that had no answer, not even a late one, and one when Diagnose or Prove asked them again.
	Lost int
	// LongLines counts answers beyond the length that the language allows.
	LongLines int
	// Reopened is how often the link was lost and came back.
	Reopened int
}

// Noise counts what is evidence of a line that changes what it carries, or loses some of it. Long lines are none: a lost
// line end makes two answers one, but not so long a one. Nor is a link that was lost, of which every operation under way
// has told. A station that forgets an answer now and then makes the same impression as a line that loses one; as long as
// nobody can tell, nothing else is held against it that such a line could have done.
func (h LinkHealth) Noise() int { return h.Garbled + h.Differing + h.Lost }

// String names what there is.
func (h LinkHealth) String() string {
	var said []string
	for _, part := range []struct {
		n    int
		what string
	}{
		{h.Garbled, "damaged answers"},
		{h.Differing, "another answer when asked again"},
		{h.Lost, "answers lost, though they came when asked for again"},
		{h.LongLines, "answers too long"},
		{h.Reopened, "the link lost and back again"},
	} {
		if part.n > 0 {
			said = append(said, fmt.Sprintf("%s: %d", part.what, part.n))
		}
	}
	if len(said) == 0 {
		return "nothing amiss"
	}
	return strings.Join(said, ", ")
}

// LinkHealth tells what the driver has noticed of the line until now.
func (d *Driver) LinkHealth() LinkHealth { return d.health }

// faulted takes account of an error of the link or of the reader of messages, and returns it. Driver and station are out
// of step after it.
func (d *Driver) faulted(err error) error {
	d.outOfStep = true
	var garbled *GarbledMessage
	var long *link.LongLineError
	switch {
	case errors.Is(err, link.ErrClosed):
		d.lost = true
		d.lines.Discard()
		d.ExpectRestart()
	case errors.As(err, &garbled):
		// While they come into step, the driver may hear half of what was said before, or how a station starts up.
		if !d.comingIn {
			d.health.Garbled++
		}
	case errors.As(err, &long):
		d.health.LongLines++
	}
	return err
}
