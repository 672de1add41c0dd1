package station

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/link"

	"periph.io/x/conn/v3/physic"
)

// example is an exchange that a dialect file gives.
type example struct {
	path    string
	command *Command // nil for what comes unasked
	words   string
	send    *string
	receive []string
	means   *string
}

// An ExampleResult is what came of an [[example]].
type ExampleResult struct {
	Line    int    // in the dialect file, from 1
	Example string // the operation, or what it means
	Problem string // empty when the dialect does what the example says
}

// What an example may say that the harness makes of what comes, beside the meanings of answers.
const (
	meansGarbled    = "garbled"    // damaged on its way
	meansUnexpected = "unexpected" // no pattern of the operation matches
)

// isOutcome reports whether an outcome is of the kind: "value 6" is a "value".
func isOutcome(outcome, kind string) bool {
	return outcome == kind || strings.HasPrefix(outcome, kind+" ")
}

// CheckExamples plays the examples of the dialect file and says what came of each. An example is a table
//
//	[[example]]
//	operation = "read cv 29"      in plain words, see ParseCommand; none for what comes unasked
//	send = "..."                  what the driver has to send for it
//	receive = "..."               what comes back, or a list of that: each a line or a frame
//	means = "value 6"             what the driver has to make of it
//
// send and receive are what goes over the link: lines without their end but with their checksum, frames with all their
// bytes in hexadecimal; the echo is left out. means is a meaning of answers, with more behind it if that is to be compared: "value 6", "value on",
// "value 120" (milliamperes), "value true", "refused 5" (the code), "event NAME"; or garbled, or unexpected.
func (d *Dialect) CheckExamples() []ExampleResult {
	results := make([]ExampleResult, len(d.examples))
	for i, e := range d.examples {
		about := e.words
		if e.means != nil {
			about = strings.TrimPrefix(about+": "+*e.means, ": ")
		}
		results[i] = ExampleResult{Line: d.places.Problem(e.path, "", "", "").Line, Example: about, Problem: d.try(e)}
	}
	return results
}

// try plays one example. The result is empty when it comes out as it says.
func (d *Dialect) try(e example) string {
	var r *request
	var sent string
	if e.command != nil {
		var err error
		if r, sent, err = d.render(*e.command); err != nil {
			return err.Error()
		}
		if got := d.wire(sent); e.send != nil && got != *e.send {
			return fmt.Sprintf("%s is sent as %q, the example has %q", e.words, got, *e.send)
		}
	}
	if e.receive == nil {
		return ""
	}
	got, err := d.outcome(e, r, sent)
	if got == *e.means || isOutcome(got, *e.means) {
		return ""
	}
	problem := fmt.Sprintf("it means %q, the example has %q", got, *e.means)
	if err != nil {
		problem += ": " + err.Error()
	}
	return problem
}

// wire is a message as examples have it.
func (d *Dialect) wire(text string) string {
	if f, ok := d.sends.(*lineFraming); ok {
		return f.checksum.add(text)
	}
	return hexText(d.sends.wrap(text))
}

// outcome is what a driver makes of what comes.
func (d *Dialect) outcome(e example, r *request, sent string) (string, error) {
	ctx := context.Background()
	clock := new(link.VirtualClock)
	near, far := link.Pipe(clock, 0)
	for _, text := range e.receive {
		whole := text
		if f, ok := d.receives.(*lineFraming); ok {
			whole += f.end
		}
		if _, err := far.Write(ctx, []byte(whole), time.Second); err != nil {
			return "", err
		}
	}
	reader := d.messages(near, clock)
	var answer []link.Line
	for {
		// The time is virtual: it only has to be longer than any silence that ends a message.
		m, err := reader.ReadLine(ctx, time.Second+2*d.gap+2*d.quiet)
		var garbled *GarbledMessage
		switch {
		case errors.As(err, &garbled):
			return meansGarbled, err
		case err != nil:
			return "nothing", err
		}
		if ev, is := d.isEvent(r, m); is {
			if isOutcome(*e.means, string(MeansEvent)) {
				return string(MeansEvent) + " " + ev.name, nil
			}
			continue
		}
		if r == nil {
			return meansUnexpected, fmt.Errorf("%q is no event", m.Text)
		}
		answer = append(answer, m)
		if d.isPart(r, m) {
			continue
		}
		got, err := d.understand(*e.command, r, sent, answer)
		return e.command.outcome(got, err), err
	}
}

// outcome is the result of a command as examples write it.
func (c Command) outcome(got reply, err error) string {
	kind := operations[c.operation].answers
	m := means(err, kind)
	var refused *Refused
	if errors.As(err, &refused) && refused.Code != "" {
		return string(m) + " " + refused.Code
	}
	if m == "" {
		return meansUnexpected
	}
	if m != MeansValue {
		return string(m)
	}
	value := ""
	switch kind {
	case identity:
		i := got.identity
		value = strings.Join([]string{i.Maker, i.Model, i.Serial, i.Version}, ", ")
	case powerState:
		value = string(got.power)
	case amount:
		value = strconv.FormatFloat(float64(got.current)/float64(physic.MilliAmpere), 'f', -1, 64)
	case byteValue:
		value = strconv.Itoa(int(got.value))
	case truth:
		value = strconv.FormatBool(got.truth)
	}
	return string(m) + " " + value
}
