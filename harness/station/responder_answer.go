package station

import (
	"errors"
	"fmt"
	"slices"

	"bufferstop/harness/link"
	"bufferstop/harness/written"
)

// Answer is what the station says to a request, as it goes over the link. A result that the dialect has no message for is
// an error; but no acknowledge, tripped and busy are said as refused when it has none for them. A request with a problem
// can only be refused.
func (p *Responder) Answer(q Request, r Result) ([]byte, error) {
	messages, err := p.messages(q, r)
	if err != nil {
		return nil, fmt.Errorf("station: answer to %q: %w", q.Sent, err)
	}
	if p.d.echo && q.Sent != "" {
		messages = slices.Insert(messages, 0, q.Sent)
	}
	out, err := p.wrap(messages)
	if err != nil {
		return nil, fmt.Errorf("station: answer to %q: %w", q.Sent, err)
	}
	return out, nil
}

// wrap is messages as they go over the link, each of which has to be read as what it is.
func (p *Responder) wrap(messages []string) ([]byte, error) {
	var out []byte
	for _, m := range messages {
		whole := p.d.receives.wrap(m)
		if len(whole) > p.d.receives.limit() || !readsAs(p.d.receives, whole, m) {
			return nil, fmt.Errorf("%q cannot be said as one message", m)
		}
		out = append(out, whole...)
	}
	return out, nil
}

// readsAs reports whether bytes are cut into this one message.
func readsAs(f framing, bytes []byte, message string) bool {
	found := false
	for len(bytes) > 0 {
		n, text, err := f.cut(bytes, true)
		switch {
		case n == 0 || err != nil:
			return false
		case text == nil: // a flag, or the second half of CRLF
		case found || string(text) != message:
			return false
		default:
			found = true
		}
		bytes = bytes[n:]
	}
	return found
}

func (p *Responder) messages(q Request, r Result) ([]string, error) {
	switch {
	case q.question != nil:
		text, err := p.d.speak(&answer{pattern: q.question.pattern, say: q.question.say}, r.groups())
		return []string{text}, err
	case q.Problem == "":
		return p.result(q, r)
	case r.Means != MeansRefused:
		return nil, fmt.Errorf("it is no request: it can only be refused, not %q", r.Means)
	}
	lists := [][]answer{p.d.lists[common]}
	for _, o := range p.d.Operations() {
		lists = append(lists, p.d.operations[o].answers)
	}
	var err error = errNothingToSay
	for _, a := range slices.Concat(lists...) {
		if a.means != MeansRefused || a.say == nil {
			continue
		}
		var text string
		if text, err = p.d.speak(&a, r.groups()); err == nil {
			return []string{text}, nil
		}
	}
	return nil, err
}

var errNothingToSay = errors.New("the dialect has nothing to say for it")

// result is the messages of a command's result.
func (p *Responder) result(q Request, r Result) ([]string, error) {
	request := p.d.operations[q.Command.operation]
	if request == nil {
		return nil, errors.New("it is no command")
	}
	err := errNothingToSay
	for i := range request.answers {
		a := &request.answers[i]
		if a.means != r.Means || a.say == nil {
			continue
		}
		// A quantity is said as it is, and rounded to the unit where that is not possible.
		for _, whole := range []bool{false, true} {
			var messages []string
			if messages, err = p.spoken(q, r, request, a, whole); err == nil {
				return messages, nil
			}
		}
	}
	if isRefusal(r.Means) {
		if r.Text == "" {
			r.Text = string(r.Means)
		}
		r.Means = MeansRefused
		return p.result(q, r)
	}
	return nil, fmt.Errorf("%s: %w", r.Means, err)
}

// spoken is the messages of a result in one of the ways that the dialect has for it, if a driver understands them.
func (p *Responder) spoken(q Request, r Result, request *request, a *answer, whole bool) ([]string, error) {
	groups := r.groups()
	if r.Means == MeansValue {
		v, err := p.d.wireValue(q.Command.operation, request, a, r.Value, whole)
		if err != nil {
			return nil, err
		}
		if a.value != nil && v.text != *a.value {
			return nil, fmt.Errorf("%s is not %s", written.Quote(v.text), written.Quote(*a.value))
		}
		groups[value] = v
	}
	var messages []string
	for i := range request.answers {
		part := &request.answers[i]
		if part.means != MeansPart || part.say == nil || r.Means != MeansValue && r.Means != MeansDone {
			continue
		}
		text, err := p.d.speak(part, groups)
		if err != nil {
			return nil, err
		}
		messages = append(messages, text)
	}
	text, err := p.d.speak(a, groups)
	if err != nil {
		return nil, err
	}
	messages = append(messages, text)
	lines := make([]link.Line, len(messages))
	for i, m := range messages {
		lines[i].Text = []byte(m)
		if last := i == len(messages)-1; p.d.isPart(request, lines[i]) == last {
			return nil, fmt.Errorf("%s would not be taken for message %d of %d", written.Quote(m), i+1, len(messages))
		}
	}
	if _, err := p.d.understand(q.Command, request, q.Sent, lines); means(err, operations[q.Command.operation].answers) != r.Means {
		return nil, fmt.Errorf("%s would be taken for something else: %v", written.Quote(text), err)
	}
	return messages, nil
}

// means is what the error of an operation says that its answer meant, or empty.
func means(err error, answers answerKind) Means {
	var refused *Refused
	switch {
	case err == nil && answers == nothing:
		return MeansDone
	case err == nil:
		return MeansValue
	case errors.As(err, &refused):
		return MeansRefused
	case errors.Is(err, ErrNoAcknowledge):
		return MeansNoAcknowledge
	case errors.Is(err, ErrTripped):
		return MeansTripped
	case errors.Is(err, ErrBusy):
		return MeansBusy
	}
	return ""
}

func (r Result) groups() map[valueName]said {
	return map[valueName]said{
		"code": {r.Code, true}, "text": {text: r.Text},
		"maker": {text: r.Identity.Maker}, "model": {text: r.Identity.Model},
		"serial": {text: r.Identity.Serial}, "version": {text: r.Identity.Version},
	}
}

// Event is what the station says when something has happened: an event of the dialect, with its groups value, code and text.
func (p *Responder) Event(name string, groups map[string]string) ([]byte, error) {
	all := map[valueName]said{}
	for group, text := range groups {
		all[valueName(group)] = said{text, group == "value" || group == "code"}
	}
	err := fmt.Errorf("dialect %q has no event %q with a say", p.d.name, name)
	for i := range p.d.events {
		e := &p.d.events[i]
		if e.name != name || e.say == nil {
			continue
		}
		var text string
		if text, err = p.d.speak(e, all); err != nil {
			continue
		}
		var out []byte
		if out, err = p.wrap([]string{text}); err == nil {
			return out, nil
		}
	}
	return nil, fmt.Errorf("station: event: %w", err)
}

// Started is what the station says when it has started, or nothing when the dialect has no event for that.
func (p *Responder) Started() ([]byte, error) {
	for _, e := range p.d.events {
		if e.restart && e.say != nil {
			return p.Event(e.name, nil)
		}
	}
	return nil, nil
}
