package station

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness/link"
)

// An adapterReader reads the messages of an adapter. Whatever is wrong with them, or keeps them from coming, is an
// *AdapterError.
type adapterReader struct {
	*link.LineReader
	language *adapterLanguage
}

// ReadLine returns the next message, written in one way however the adapter wrote it.
func (r *adapterReader) ReadLine(ctx context.Context, timeout time.Duration) (link.Line, error) {
	line, err := r.LineReader.ReadLine(ctx, timeout)
	if err != nil {
		return line, r.language.broken(err)
	}
	m, wrong := parseAdapterMessage(line.Text)
	if wrong != nil {
		return link.Line{}, r.language.wrong(wrong)
	}
	if m.event == "" {
		if err := r.language.take(m); err != nil {
			return link.Line{}, err
		}
	}
	line.Text = m.text
	return line, nil
}

// broken says that an error of the link to the adapter is one.
func (l *adapterLanguage) broken(err error) error {
	var long *link.LongLineError
	what := "it cannot be heard"
	switch {
	case errors.As(err, &long):
		// Not wrapped: there is no dialect's answer to be made of it.
		return l.wrong(&wrongMessage{"a line that is too long", string(long.Start), fmt.Sprintf("at most %d bytes", adapterLine)})
	case errors.Is(err, link.ErrTimeout):
		what = "it has not answered in time"
	case errors.Is(err, link.ErrClosed):
		what = "it has ended"
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return err
	}
	return &AdapterError{Adapter: l.Name(), What: what, Err: err}
}

// take looks at an answer before the driver does: at its number, and at what answers hello and ping.
func (l *adapterLanguage) take(m adapterMessage) error {
	unfit := func(q question, want string) error {
		return l.wrong(&wrongMessage{fmt.Sprintf("its answer to %s", q), clipped(string(m.text)), want})
	}
	last := l.adapter.asked.Load()
	switch {
	case m.id > last:
		return l.wrong(&wrongMessage{"an answer to a question that was not asked", clipped(string(m.text)), fmt.Sprintf("an id of at most %d", last)})
	case m.id == l.helloID && m.outcome == outcomeHello:
		l.hello = &m.hello
		l.adapter.introduction.Store(l.hello)
	case m.id == l.helloID && m.outcome == outcomeFailed, m.id == l.pingID && m.outcome == outcomeFailed:
		l.ping = nil
		return l.failed(m)
	case m.id == l.helloID:
		return unfit(askHello, `"hello" or "failed"`)
	case m.id == l.pingID:
		switch m.outcome {
		case outcomeDone:
			l.ping = nil
		case outcomeSilent, outcomeUnexpected:
			// The driver asks again as long as there is time.
		default:
			l.ping = nil
			return unfit(askPing, `"done", "silent", "unexpected" or "failed"`)
		}
	}
	return nil
}

// wrong is an error of the adapter.
func (l *adapterLanguage) wrong(w *wrongMessage) error {
	return &AdapterError{Adapter: l.Name(), What: w.what, Got: w.got, Want: w.want}
}
