package station

import (
	"errors"
	"fmt"
)

// A Responder is the station's side of a dialect: it reads what a driver sends and says what a station would. It is used
// by one goroutine at a time.
type Responder struct {
	d         *Dialect
	pending   []byte
	requests  []recogniser
	questions []*inStep
}

// A Request is a message that a station got.
type Request struct {
	Command Command
	// Question is empty for a command, and else what kind of question beside the operations this is, by the name of its
	// table in the dialect: "start", "keep_alive" or "resynchronise". Answer needs no more of a result than the identity
	// then.
	Question string
	Sent     string // the message as dialect files write one: untrusted
	// Problem is empty unless the message is neither; then it says why.
	Problem string

	question *inStep
}

// Result is what a station has to say to a request.
type Result struct {
	// Means is one of done, value, refused, no acknowledge, tripped and busy.
	Means Means
	// Value is in the harness's words: "on", "off", "tripped"; "true", "false"; 0 to 255; milliamperes.
	Value string
	// Code and Text are those of a refusal.
	Code, Text string
	// Identity is the answer to identify, its Text apart.
	Identity Identity
}

// Reset forgets what has come of a message, as a station does when its power fails.
func (p *Responder) Reset() { p.pending = nil }

// Feed takes the bytes that have come and returns the requests that they complete. It keeps no more than the dialect's
// limit of what is unfinished.
func (p *Responder) Feed(bytes []byte) []Request {
	p.pending = append(p.pending, bytes...)
	return p.cut(false)
}

// Silence says that nothing more has come for a while: a frame without its end is given up when a whole request stands
// behind its beginning.
func (p *Responder) Silence() []Request { return p.cut(true) }

func (p *Responder) cut(silent bool) []Request {
	var all []Request
	for len(p.pending) > 0 {
		n, text, err := p.d.sends.cut(p.pending, silent)
		if n == 0 {
			if limit := p.d.sends.limit(); len(p.pending) > limit {
				all = append(all, Request{Sent: p.show(p.pending), Problem: fmt.Sprintf("more than %d bytes without an end", limit)})
				p.pending = nil
			}
			break
		}
		switch {
		case err != nil:
			all = append(all, Request{Sent: p.show(p.pending[:n]), Problem: err.Error()})
		case len(text) > 0:
			all = append(all, p.understand(string(text)))
		}
		p.pending = p.pending[n:]
	}
	p.pending = append([]byte(nil), p.pending...)
	return all
}

// show is the first of bytes that are no message as text.
func (p *Responder) show(bytes []byte) string {
	bytes = bytes[:min(len(bytes), shownBytes)]
	if p.d.binary {
		return hexText(bytes)
	}
	return string(bytes)
}

// understand finds out what a message asks for. What could be a command is one.
func (p *Responder) understand(text string) Request {
	q := p.command(text)
	if q.Problem == "" {
		return q
	}
	for _, s := range p.questions {
		if s.send == text {
			table, _, _ := cutIndex(s.path)
			return Request{Question: table, Sent: text, question: s}
		}
	}
	return q
}

func (p *Responder) command(text string) Request {
	problem := fmt.Sprintf("%q is no request of dialect %q", text, p.d.name)
	for i := range p.requests {
		c, err := p.requests[i].command(text)
		if err == nil {
			return Request{Command: c, Sent: text}
		}
		if !errors.Is(err, errOther) {
			problem = fmt.Sprintf("%q: %s", text, err)
		}
	}
	return Request{Sent: text, Problem: problem}
}
