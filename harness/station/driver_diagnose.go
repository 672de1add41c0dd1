package station

import (
	"context"
	"errors"
	"fmt"
	"regexp"

	"bufferstop/harness/link"
)

// Fault says where the fault lies when an operation has failed.
type Fault string

// The sides of a fault.
const (
	StationFault Fault = "the station"
	LinkFault    Fault = "the link" // or the adapter, or whatever else carries the messages
	UnclearFault Fault = "unclear"
)

// A Diagnosis says whose fault it is that an operation failed, and how that is known.
type Diagnosis struct {
	Fault Fault
	Why   string
	// Confirmed says that the station did the same each time it was asked again, over a line that was seen to be clean.
	Confirmed bool
	// OutOfReach says that nothing can be asked of the station at present: it is silent, or never quiet, or nothing can be
	// handed over to it. Silent is the first of these: there is no sign of life.
	OutOfReach, Silent bool
}

// How often is asked again. Both are our own choice. The proof is some 1500 bytes of a usual language: where one byte in
// five hundred is damaged, it comes through unharmed once in twenty times. Two repetitions, because what noise has done
// once in a hundred commands it does the same way thrice in no run that anybody makes.
const (
	proofQuestions = 32
	repetitions    = 2
	// missedInARow is after how many unanswered questions a station is taken to be silent: as inStepTries.
	missedInARow = 3
)

// Diagnose says whose fault it is that the last operation failed with err, by asking again: it brings driver and station
// into step, proves the line by asking who the station is, and repeats the operation. What is no failure to the caller,
// such as a refusal that was hoped for, is not for Diagnose. It takes as long as the station takes to answer, or not to.
//
// Nothing that the link may have done is held against the station:
//
//   - A link that is closed, or does not take what is sent, is the link's fault, as is an adapter that breaks its rules.
//   - No answer to any question: unclear. A station that hangs and a cable that is out look the same from here.
//   - A line that never is quiet: unclear, since no message on it can be known for an answer.
//   - Anything damaged on its way, or another answer to the same question: the link's, and counted in LinkHealth.
//   - No answer at first, and one when asked again: unclear, since either side may have lost the question or the answer.
//   - The same wrong answer, refusal or silence each time, over a line that just carried many other answers unharmed: the
//     station's. Noise hits at random and does not repeat itself. That holds for damage too: a checksum that is wrong in
//     the same way each time was reckoned wrongly.
//   - An answer that is well formed and says what the station saw, as "no acknowledge" or "tripped": the station's, though
//     it sees something else when asked again, because the world may have changed. It is then not confirmed.
//   - A restart that nobody asked for, and a boot loop: the station's. Noise does not word an announcement.
//
// LastExchange stays that of the operation which failed.
func (d *Driver) Diagnose(ctx context.Context, err error) Diagnosis {
	if known, ok := d.plain(err); ok {
		return known
	}
	last, before := d.last, d.before
	defer func() { d.last, d.before = last, before }()
	var repeat func(context.Context) error
	switch {
	case errors.Is(err, ErrKeepAlive):
		repeat = d.KeepAlive
	case last.Err != nil && errors.Is(err, last.Err):
		repeat = func(ctx context.Context) error { return d.Do(ctx, last.Command) }
	}
	if err := d.Resynchronise(ctx); err != nil {
		return d.said(err)
	}
	if d.strange > 0 {
		return Diagnosis{Fault: LinkFault, Why: fmt.Sprintf("%d damaged messages came when the line should have been quiet", d.strange)}
	}
	late := d.other > 0
	proved, fault := false, (*Diagnosis)(nil)
	if last.Operation != Identify || d.known != (Identity{}) {
		proved, fault = d.prove(ctx)
	}
	if !proved && fault == nil { // the language cannot ask who the station is, or that is what failed
		proved, fault = d.proveByQuery(ctx)
	}
	if fault != nil {
		return *fault
	}
	if repeat == nil {
		return Diagnosis{Fault: UnclearFault, Why: "the line is clean, but what failed cannot be asked again"}
	}
	for range repetitions {
		again := repeat(ctx)
		if fault, differs := d.compare(err, again, late); differs {
			return fault
		}
	}
	over := "over a line that carried other answers unharmed"
	if !proved {
		if errors.Is(err, ErrNoAnswer) {
			return silent("it answered nothing that it was asked")
		}
		over = "which a bad line does not do"
	}
	d.health = before // what was damaged was so in the same way each time, and nothing else was
	return Diagnosis{Fault: StationFault, Confirmed: true, Why: fmt.Sprintf("the same came again, %d times, %s", repetitions, over)}
}

// Prove asks who the station is again and again. What comes damaged, or is not the same each time, is counted in
// LinkHealth. The error says what was wrong first; it is nil for a line that seems clean.
func (d *Driver) Prove(ctx context.Context) error {
	last, before := d.last, d.before
	defer func() { d.last, d.before = last, before }()
	if _, fault := d.prove(ctx); fault != nil {
		return fmt.Errorf("station: proving the line: %s", fault.Why)
	}
	return nil
}

// prove asks who the station is. proved is false when its language has no way to ask that.
func (d *Driver) prove(ctx context.Context) (proved bool, fault *Diagnosis) {
	missed, inARow := 0, 0
	for range proofQuestions {
		identity, err := d.Identify(ctx)
		var garbled *GarbledMessage
		switch {
		case err == nil && d.known.same(identity):
			inARow = 0
		case err == nil:
			d.health.Differing++
			return true, &Diagnosis{Fault: LinkFault, Why: fmt.Sprintf("asked again who it is, the station seems to be %+q and no more %+q",
				clipped(identity.Text), clipped(d.known.Text))}
		case errors.Is(err, ErrNotSupported):
			return false, nil
		case errors.Is(err, ErrNoAnswer):
			missed++
			if inARow++; inARow == missedInARow {
				fault := silent(fmt.Sprintf("it was asked %d times who it is", inARow))
				return true, &fault
			}
		default:
			if known, ok := d.plain(err); ok {
				return true, &known
			}
			if !errors.As(err, &garbled) {
				d.health.Differing++
			}
			return true, &Diagnosis{Fault: LinkFault, Why: fmt.Sprintf("asked again who it is, it answers in another way: %v", err)}
		}
	}
	if missed > 0 {
		d.health.Lost += missed
		return true, &Diagnosis{Fault: UnclearFault, Why: fmt.Sprintf("%d of %d other questions had no answer: they, or their answers, were lost on the line or by the station",
			missed, proofQuestions)}
	}
	return true, nil
}

// proveByQuery asks what brings into step again and again. proved is false when there is no such question.
func (d *Driver) proveByQuery(ctx context.Context) (proved bool, fault *Diagnosis) {
	first, inARow := "", 0
	for range proofQuestions {
		query := d.language.query()
		if query == nil {
			return false, nil
		}
		d.echoing, d.strange = nil, 0
		if err := d.send(ctx, query.send); err != nil {
			fault := d.said(err)
			return true, &fault
		}
		text := ""
		found, err := d.passOver(ctx, query.send, d.clock.Now()+query.timeout/inStepTries, func(m link.Line) bool {
			text = digits.ReplaceAllString(string(m.Text), "0")
			return query.matches(m)
		})
		if first == "" {
			first = text
		}
		inARow++
		switch {
		case err != nil:
			fault := d.said(err)
			return true, &fault
		case d.strange > 0:
			d.health.Garbled += d.strange
			return true, &Diagnosis{Fault: LinkFault, Why: fmt.Sprintf("%d damaged messages came when %+q was asked", d.strange, query.send)}
		case found && text != first:
			d.health.Differing++
			return true, &Diagnosis{Fault: LinkFault, Why: fmt.Sprintf("asked again, %+q was answered with %+q and no more with %+q",
				query.send, clipped(text), clipped(first))}
		case found:
			inARow = 0
		case inARow == missedInARow:
			fault := silent(fmt.Sprintf("it was asked %d times whether it is there", inARow))
			return true, &fault
		default:
			d.outOfStep = true
			d.health.Lost++
		}
	}
	if d.outOfStep {
		return true, &Diagnosis{Fault: UnclearFault, Why: "some of the other questions had no answer: they, or their answers, were lost on the line or by the station"}
	}
	return true, nil
}

// compare says what it means that an operation which failed at first now ends so. differs is false when it failed in the
// same way. late says that something came when the line should have been quiet, which may have been the answer.
func (d *Driver) compare(first, again error, late bool) (fault Diagnosis, differs bool) {
	if again != nil {
		if known, ok := d.plain(again); ok {
			return known, true
		}
		if shape(first) == shape(again) {
			return Diagnosis{}, false
		}
	}
	now := "done"
	if again != nil {
		now = again.Error()
	}
	var long *link.LongLineError
	switch {
	case isSight(first):
		return Diagnosis{Fault: StationFault, Why: "the answer was well formed, over a clean line; asked again: " + now}, true
	case errors.Is(first, ErrNoAnswer) && late:
		return Diagnosis{Fault: UnclearFault, Why: "something came after the time for the answer had passed; asked again: " + now}, true
	case errors.Is(first, ErrNoAnswer), errors.Is(again, ErrNoAnswer), errors.As(first, &long), isSight(again):
		if errors.Is(first, ErrNoAnswer) || errors.Is(again, ErrNoAnswer) {
			d.health.Lost++
		}
		return Diagnosis{Fault: UnclearFault, Why: "asked again, it went otherwise, and either side may have lost something: " + now}, true
	}
	var garbled *GarbledMessage
	if !errors.As(first, &garbled) {
		d.health.Differing++
	}
	return Diagnosis{Fault: LinkFault, Why: "asked again, it was answered in another way: " + now}, true
}

// plain is what can be said of an error without asking again.
func (d *Driver) plain(err error) (Diagnosis, bool) {
	var adapter *AdapterError
	fault, why, out := UnclearFault, "", false
	switch {
	case err == nil:
		why = "nothing failed"
	case errors.As(err, &adapter):
		fault, why = LinkFault, "the adapter is no part of the station"
	case errors.Is(err, ErrRestarted):
		return Diagnosis{Fault: StationFault, Why: "nobody had asked for a restart", Confirmed: true}, true
	case errors.Is(err, link.ErrClosed):
		fault, why = LinkFault, "the link to the station was closed from the other side"
	case errors.Is(err, ErrNotTaken):
		fault, why, out = LinkFault, "the link does not take what is sent to the station", true
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		why = "it was broken off"
	case errors.Is(err, ErrNotSupported):
		why = "nothing was asked of the station"
	case d.strange > 0 && (errors.Is(err, ErrSilent) || errors.Is(err, ErrRestless)):
		fault, why, out = LinkFault, fmt.Sprintf("%d damaged messages came, and no answer", d.strange), true
	case errors.Is(err, ErrSilent) && d.lines.BytesRead() > d.readAtStep:
		why, out = fmt.Sprintf("%d bytes came, and no answer to the question that brings into step among them",
			d.lines.BytesRead()-d.readAtStep), true
	case errors.Is(err, ErrSilent):
		return silent("it was asked to come into step"), true
	case errors.Is(err, ErrRestless):
		why, out = "the line never is quiet, so that nothing on it can be known for an answer", true
	default:
		return Diagnosis{}, false
	}
	return Diagnosis{Fault: fault, Why: why, OutOfReach: out}, true
}

// said is what can be said of an error when nothing more can be asked.
func (d *Driver) said(err error) Diagnosis {
	if known, ok := d.plain(err); ok {
		return known
	}
	return Diagnosis{Fault: UnclearFault, Why: err.Error()}
}

func silent(how string) Diagnosis {
	return Diagnosis{Fault: UnclearFault, OutOfReach: true, Silent: true,
		Why: "neither an answer nor a sign of life (" + how + "): the station hangs, or the cable is out"}
}

// isSight reports whether an error is a well-formed answer that tells what the station saw, or how it is.
func isSight(err error) bool {
	return errors.Is(err, ErrNoAcknowledge) || errors.Is(err, ErrTripped) || errors.Is(err, ErrBusy)
}

// isAnswer reports whether an error is an answer of the station.
func isAnswer(err error) bool {
	_, refused := asRefusal(err)
	return refused || errors.Is(err, ErrBusy)
}

// digits vary in an answer that is wrong in the same way: a time, a counter, a measured value.
var digits = regexp.MustCompile(`[0-9]+`)

// shape is what two failures have in common that are the same.
func shape(err error) string {
	var garbled *GarbledMessage
	var unexpected *UnexpectedAnswer
	var refused *Refused
	var long *link.LongLineError
	switch {
	case errors.As(err, &garbled):
		return "garbled " + garbled.Got
	case errors.As(err, &unexpected):
		return "unexpected " + digits.ReplaceAllString(unexpected.Got, "0")
	case errors.As(err, &refused):
		return "refused " + refused.Code + " " + digits.ReplaceAllString(refused.Text, "0")
	case errors.As(err, &long):
		return "long " + digits.ReplaceAllString(string(long.Start), "0")
	case errors.Is(err, ErrNoAnswer):
		return "silence"
	}
	for _, kind := range []error{ErrNoAcknowledge, ErrTripped, ErrBusy} {
		if errors.Is(err, kind) {
			return kind.Error()
		}
	}
	return digits.ReplaceAllString(err.Error(), "0")
}

// same reports whether two answers name the same station. Where the language tells no parts of it, the whole answer counts.
func (i Identity) same(other Identity) bool {
	parts := func(i Identity) Identity { i.Text = ""; return i }
	if parts(i) != (Identity{}) {
		return parts(i) == parts(other)
	}
	return i == other
}
