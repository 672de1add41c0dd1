package station

import (
	"errors"
	"slices"

	"bufferstop/harness/link"
)

// Echoes is how often a message came back as it was sent, though the language does not say that the station echoes. Such
// messages are passed over: they come from a station whose echo is on, or from a line that hears itself.
func (d *Driver) Echoes() int { return d.echoes }

// isEcho reports whether a message is what was sent, come back. A declared echo is the first message that is equal to what
// was sent; an undeclared one is equal to it and makes no sense as an answer or as an event.
func (d *Driver) isEcho(p prepared, m link.Line, outstanding []string, isEvent bool) bool {
	text := string(m.Text)
	if d.manners.echo {
		if len(d.echoing) == 0 || d.echoing[0] != text {
			return false
		}
		d.heardEcho()
		return true
	}
	if isEvent || !slices.Contains(outstanding, text) || d.language.isPart(p.request, m) {
		return false
	}
	var unexpected *UnexpectedAnswer
	if _, err := d.language.understand(p.command, p.request, p.text, []link.Line{m}); !errors.As(err, &unexpected) {
		return false
	}
	d.heardEcho()
	return true
}

// heardEcho counts an echo.
func (d *Driver) heardEcho() {
	if !d.manners.echo {
		d.echoes++
		return
	}
	d.echoed = true
	if len(d.echoing) > 0 {
		d.echoing = d.echoing[1:]
	}
}

// echoesDue forgets the echoes that have not come of commands which are answered: only so many are unanswered.
func (d *Driver) echoesDue(unanswered int) {
	if over := len(d.echoing) - unanswered; over > 0 {
		d.echoing = d.echoing[over:]
	}
}
