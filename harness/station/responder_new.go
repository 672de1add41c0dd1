package station

import (
	"errors"
	"fmt"
	"slices"

	"bufferstop/harness/written"
)

// NewResponder turns a dialect round. What in it cannot be turned round comes back as *FileError, joined: a field without
// the way back, a template that leaves open where one value ends, answers with nothing to say.
func NewResponder(d *Dialect) (*Responder, error) {
	p := &Responder{d: d}
	var problems []error
	fail := func(path, got, want, hint string) {
		problems = append(problems, d.places.Problem(path, got, want, hint))
	}
	if f, ok := d.sends.(*lineFraming); ok && f.end == "" {
		fail("line.end", "no end of a request", "an end", "a station could not tell when a request is whole")
	}
	for _, o := range d.Operations() {
		r := d.operations[o]
		recognise, problem := newRecogniser(d, o, r)
		if problem != nil {
			problems = append(problems, problem)
			continue
		}
		p.requests = append(p.requests, recognise)
	}
	if problems == nil {
		problems = p.tellsApart(problems)
	}
	for _, o := range d.Operations() {
		r := d.operations[o]
		success := MeansValue
		if operations[o].answers == nothing {
			success = MeansDone
		}
		for _, m := range []Means{success, MeansRefused} {
			if !slices.ContainsFunc(r.answers, func(a answer) bool { return a.means == m && a.say != nil }) {
				fail("operation."+string(o), fmt.Sprintf("no answer that means %q with a say", m), "what a simulated station says", "say = \"...\" beside the pattern")
			}
		}
	}
	for _, q := range d.questions() {
		p.questions = append(p.questions, q)
		if q.say == nil && p.command(q.send).Problem != "" {
			fail(q.path, "no say", "what a simulated station says to "+written.Quote(q.send), "say = \"...\" beside the pattern")
		}
	}
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	return p, nil
}

// questions are all that are asked beside the operations.
func (d *Dialect) questions() []*inStep {
	var all []*inStep
	if d.inStep != nil {
		all = append(all, d.inStep)
	}
	for i := range d.start {
		all = append(all, &d.start[i])
	}
	if d.keepAlive != nil {
		all = append(all, &d.keepAlive.inStep)
	}
	return all
}

// tellsApart sees that sample commands are recognised as what they are.
func (p *Responder) tellsApart(problems []error) []error {
	for _, o := range p.d.Operations() {
		for _, c := range sampleCommands(o) {
			_, text, err := p.d.render(c)
			if err != nil {
				continue
			}
			if q := p.command(text); q.Problem != "" || q.Command.Words() != p.d.asTaken(c).Words() {
				got := fmt.Sprintf("%s for %q, taken for %q", written.Quote(text), c.Words(), q.Command.Words())
				if q.Problem != "" {
					got = fmt.Sprintf("%s for %q, not recognised", written.Quote(text), c.Words())
				}
				problems = append(problems, p.d.places.Problem("operation."+string(o)+".send", got,
					"a message from which the command can be told", "is there something between the values?"))
				break
			}
		}
	}
	return problems
}

// asTaken is the command as a station takes it: with the only method that the dialect has.
func (d *Dialect) asTaken(c Command) Command {
	r := d.operations[c.operation]
	only, fixed := r.fixed[method]
	if fixed && c.values[method] == "default" {
		values := map[valueName]string{}
		for name, v := range c.values {
			values[name] = v
		}
		values[method] = only
		c.values = values
	}
	return c
}
