package calibration

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/station"
)

// A Question is one thing that the walk asks the user.
type Question struct {
	// Key names it in an answers file, such as "main.ohms".
	Key string
	// Text says what to do, and what is asked.
	Text string
	// Want says what answers there are, as errors tell it; Default is what an empty answer means, empty if it means nothing.
	Want, Default string
	// Switches says that the answer lets current flow.
	Switches bool
	// Cautions are told before.
	Cautions []string
}

// ErrCancelled says that the user wants no more. Nothing is left on.
var ErrCancelled = errors.New("the calibration was cancelled")

// ErrNoAnswer is what an asker returns that has none: what the walk does then is up to the question.
var ErrNoAnswer = errors.New("no answer")

// The words that every question takes beside its own answers.
const (
	wordCancel = "cancel"
	wordSkip   = "skip"
	wordYes    = "yes"
	wordNo     = "no"
	wordGo     = "go"
	wordAgain  = "again"
)

// keySupervised is the one question that has to be answered.
const keySupervised = "supervised"

// errSkip leaves a step out.
var errSkip = errors.New("skipped")

// An AnswerError says that an answer is none.
type AnswerError struct{ Key, Got, Want string }

func (e *AnswerError) Error() string {
	return fmt.Sprintf("answer to %s: got %q, want %s", e.Key, e.Got, e.Want)
}

// ask asks until the answer is one that take takes. An asker that has no other answer, such as a file, would be asked for ever: so
// the third wrong one ends it.
func (w *Walk) ask(q Question, take func(answer string) error) error {
	const tries = 3
	for try := 1; ; try++ {
		answer, err := w.Ask(q)
		if err != nil {
			return err
		}
		answer = strings.TrimSpace(answer)
		if answer == "" {
			answer = q.Default
		}
		switch strings.ToLower(answer) {
		case wordCancel:
			return ErrCancelled
		case wordSkip:
			return errSkip
		}
		if err = take(answer); err == nil {
			return nil
		}
		wrong := &AnswerError{Key: q.Key, Got: answer, Want: q.Want}
		if try == tries {
			return wrong
		}
		w.say("%q is no answer here, want %s.", answer, q.Want)
		q.Cautions = nil // they have been read
	}
}

// again asks what to do about a step that came to nothing. Without an answer the step's failure is the walk's.
func (w *Walk) again(failed error) (repeat bool, err error) {
	q := Question{Key: wordAgain, Text: failed.Error(), Want: "again, skip or cancel", Default: wordAgain}
	err = w.ask(q, func(answer string) error {
		if strings.ToLower(answer) != wordAgain {
			return errors.New("something else")
		}
		return nil
	})
	switch {
	case errors.Is(err, ErrNoAnswer):
		return false, failed
	case errors.Is(err, errSkip):
		return false, nil
	}
	return err == nil, err
}

// number asks for a number with a unit that may be left out, from low to high.
func (w *Walk) number(q Question, unit string, low, high float64) (x float64, err error) {
	q.Want = fmt.Sprintf("a number of %v to %v %s, skip or cancel", low, high, unit)
	err = w.ask(q, func(answer string) error {
		text := strings.TrimSpace(strings.TrimSuffix(answer, unit))
		x, err = strconv.ParseFloat(text, 64)
		if err == nil && !(x >= low && x <= high) {
			err = errors.New("out of range")
		}
		return err
	})
	return x, err
}

// span asks for a time, from low to high.
func (w *Walk) span(q Question, low, high time.Duration) (d time.Duration, err error) {
	q.Want = fmt.Sprintf("a time of %v to %v, skip or cancel", low, high)
	err = w.ask(q, func(answer string) error {
		d, err = time.ParseDuration(answer)
		if err == nil && (d < low || d > high) {
			err = errors.New("out of range")
		}
		return err
	})
	return d, err
}

// ready asks the user to do something, and waits until it is done.
func (w *Walk) ready(q Question) error {
	q.Want, q.Default, q.Switches = "go, skip or cancel", wordGo, true
	return w.ask(q, func(answer string) error {
		if strings.ToLower(answer) != wordGo {
			return errors.New("something else")
		}
		return nil
	})
}

// yes asks for yes or no.
func (w *Walk) yes(q Question) (yes bool, err error) {
	q.Want = "yes, no, skip or cancel"
	err = w.ask(q, func(answer string) error {
		switch strings.ToLower(answer) {
		case wordYes:
			yes = true
		case wordNo:
			yes = false
		default:
			return errors.New("neither")
		}
		return nil
	})
	return yes, err
}

// A reading is what a meter shows: volts or amperes.
type reading struct {
	value float64
	volts bool
}

// reading asks for what a meter shows.
func (w *Walk) reading(q Question) (r reading, err error) {
	q.Want = `volts or amperes with the unit, as in "15.2 V" or "0.31 A", skip or cancel`
	err = w.ask(q, func(answer string) error {
		number, unit := strings.TrimSpace(answer), ""
		for _, u := range []string{"mV", "mA", "V", "A"} {
			if text, ok := strings.CutSuffix(number, u); ok {
				number, unit = strings.TrimSpace(text), u
				break
			}
		}
		r.value, err = strconv.ParseFloat(number, 64)
		if strings.HasPrefix(unit, "m") {
			r.value /= milli
		}
		r.volts = strings.HasSuffix(unit, "V")
		// Up to 30 V and 20 A: beyond any track of the trade (S-9.1 has 22 V, from memory).
		if most := map[bool]float64{true: 30, false: 20}[r.volts]; err == nil && (unit == "" || !(r.value > 0 && r.value <= most) || math.IsNaN(r.value)) {
			err = errors.New("no reading")
		}
		return err
	})
	return r, err
}

// key is how a question about a track is named.
func key(track station.Track, name string) string { return string(track) + "." + name }
