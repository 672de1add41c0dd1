package station

import "bufferstop/harness/link"

func (d *Dialect) manners() manners {
	return manners{write: d.write, busyPause: d.busyPause, quiet: d.quiet, window: d.window, echo: d.echo, start: d.start,
		keepAlive: d.keepAlive}
}

func (d *Dialect) encode(text string) []byte { return d.sends.wrap(text) }
func (d *Dialect) query() *inStep            { return d.inStep }

// ending makes the station let go of a message that it has the beginning of. Of a frame without an end there is no such
// thing: a station finds out by the next one.
func (d *Dialect) ending() []byte {
	switch f := d.sends.(type) {
	case *lineFraming:
		return []byte(f.end)
	case *frameFraming:
		return f.end
	}
	return nil
}

// messages reads lines with an end by link.LineReader, and all else by a reader of our own.
func (d *Dialect) messages(l link.Link, c Clock) messageReader {
	if f, ok := d.receives.(*lineFraming); ok && f.end != "" && !f.tolerant {
		return checkedReader{link.NewLineReader(l, c, f.end, f.longest), f}
	}
	gap := d.gap
	if d.binary {
		gap = d.quiet
	}
	return newFramingReader(l, c, d.receives, gap)
}

// isEvent lets an answer of the operation under way go before the dialect's events.
func (d *Dialect) isEvent(r *request, m link.Line) (event, bool) {
	if r != nil {
		if a := r.answerTo(m.Text); a != nil {
			return event{}, a.means == MeansEvent
		}
	}
	for _, e := range d.events {
		if e.pattern.Match(m.Text) {
			return event{name: e.name, restart: e.restart}, true
		}
	}
	return event{}, false
}

func (d *Dialect) isPart(r *request, m link.Line) bool {
	a := r.answerTo(m.Text)
	return a != nil && a.means == MeansPart
}

// render turns a command into a message. Errors are *NotSupported.
func (d *Dialect) render(c Command) (*request, string, error) {
	r := d.operations[c.operation]
	if r == nil {
		return nil, "", d.cannot(c, "dialect %q has no operation %q", d.name, string(c.operation))
	}
	if err := d.nameable(c, r); err != nil {
		return nil, "", err
	}
	text, err := r.template.render(func(p part) (string, error) { return d.place(c, p) })
	if err != nil {
		return nil, "", err
	}
	return r, text, nil
}
