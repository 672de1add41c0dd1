package simulated

import (
	"strings"
	"time"
)

// scpi is the interpreter of the reference language. It gathers characters into program messages (IEEE 488.2-1992 section
// 7) ended by line feed, and executes the units of a message in their order. A unit that takes long, such as a read of a
// CV, holds up the units behind it and nothing else.
type scpi struct {
	station *firmware
	readyAt time.Duration // characters before are lost: the processor starts up
	// input is the buffer that the serial interrupt fills.
	input   []byte
	lines   int  // complete messages in it
	overrun bool // the message on its way was cut; what follows up to its line feed is dropped
	looped  bool // what is said comes back into the input, in a flawed firmware

	units     []unit // of the present message, still to execute
	executing bool
	responses []string
	errors    []errorCode
	// acting is the unit under way, nil between units; respond puts what it gave into words, nil if there is nothing to say.
	acting  action
	respond func(value int) string
}

// newSCPI is the interpreter of a station that takes characters from ready on.
func newSCPI(s *firmware, ready time.Duration) interpreter {
	return &scpi{station: s, readyAt: ready, input: make([]byte, 0, s.settings.inputBuffer)}
}

// character is the serial receive interrupt.
func (n *scpi) character(t time.Duration, c byte) {
	if t < n.readyAt {
		return
	}
	if n.overrun {
		if c == '\n' {
			n.overrun = false
		}
		return
	}
	if len(n.input) == cap(n.input) {
		n.raise(inputOverrun)
		n.station.hold(n.station.settings.flaws.overrunHolds)
		n.overrun = c != '\n'
		// The message that did not fit is dropped as a whole; complete ones before it stay.
		n.input = n.input[:strings.LastIndexByte(string(n.input), '\n')+1]
		return
	}
	n.input = append(n.input, c)
	if c == '\n' {
		n.lines++
		if !n.executing {
			n.station.wake(t + n.station.settings.unitTime)
		}
	}
}

// run is the main loop's turn at t: it executes one unit, or goes on with one.
func (n *scpi) run(t time.Duration) {
	switch {
	case n.acting != nil:
	case !n.executing:
		if n.lines == 0 {
			return
		}
		end := strings.IndexByte(string(n.input), '\n')
		message := string(n.input[:end])
		n.input = n.input[:copy(n.input, n.input[end+1:])]
		n.lines--
		n.units, n.executing = parse(message), true
		if n.looped = n.station.hearsItself(message); n.looped {
			n.units, n.responses = nil, append(n.responses, strings.TrimSpace(message))
		}
	case len(n.units) > 0:
		n.acting, n.respond = n.execute(t, n.units[0])
		n.units = n.units[1:]
	}
	if n.acting != nil {
		r, ended := n.acting(t)
		if !ended {
			return // whoever it waits for wakes the main loop
		}
		n.acting = nil
		n.conclude(r)
	}
	if len(n.units) == 0 {
		n.finish(t)
		return
	}
	n.station.wake(t + n.station.settings.unitTime)
}

// conclude takes the result of a unit.
func (n *scpi) conclude(r result) {
	switch {
	case r.code != noError:
		n.raise(r.code)
	case n.respond != nil:
		n.responses = append(n.responses, n.respond(r.value))
	}
}

// finish ends a message with the response of its queries, IEEE 488.2-1992 section 8.
func (n *scpi) finish(t time.Duration) {
	n.executing = false
	if len(n.responses) > 0 {
		n.station.said = strings.Join(n.responses, ";") + "\n"
		n.station.say(t, n.station.said)
		n.responses = n.responses[:0]
	}
	if n.looped && len(n.input)+len(n.station.said) <= cap(n.input) {
		n.input = append(n.input, n.station.said...)
		n.lines++
		n.station.wake(t + loopTime)
		return
	}
	if n.lines > 0 {
		n.station.wake(t + n.station.settings.unitTime)
	}
}

// raise puts an event into the error queue. The last entry of a full queue becomes queue overflow, SCPI-1999 21.8.1.
func (n *scpi) raise(c errorCode) {
	if len(n.errors) == errorQueueEntries {
		n.errors[errorQueueEntries-1] = queueOverflow
		return
	}
	n.errors = append(n.errors, c)
}

// unit is one program message unit: a header with its path from the root, and parameters.
type unit struct {
	header     string // upper case, without the question mark: LOCO:SPE
	query      bool
	parameters []string
	bad        bool // not made as a unit has to be
}

// parse divides a message into its units. A header that begins with a colon starts at the root; another one starts where
// the one before it in the message ended, less its last part (SCPI-1999 volume 1, 6.2.4). Common commands, with an
// asterisk, leave that place alone.
func parse(message string) []unit {
	var units []unit
	path := ""
	for _, text := range strings.Split(message, ";") {
		text = strings.Trim(text, " \t\r")
		if text == "" {
			continue
		}
		if strings.IndexFunc(text, func(r rune) bool { return r < ' ' && r != '\t' || r > '~' }) >= 0 {
			units = append(units, unit{bad: true})
			continue
		}
		header, rest, _ := strings.Cut(strings.ReplaceAll(text, "\t", " "), " ")
		var u unit
		u.header = strings.ToUpper(header)
		u.header, u.query = strings.CutSuffix(u.header, "?")
		rest = strings.TrimSpace(rest)
		if rest != "" {
			for _, p := range strings.Split(rest, ",") {
				u.parameters = append(u.parameters, strings.ToUpper(strings.TrimSpace(p)))
			}
		}
		if !strings.HasPrefix(u.header, "*") {
			if absolute, ok := strings.CutPrefix(u.header, ":"); ok {
				u.header = absolute
			} else {
				u.header = path + u.header
			}
			path = u.header[:strings.LastIndexByte(u.header, ':')+1]
		}
		units = append(units, u)
	}
	return units
}
