package simulated

import (
	"fmt"
	"strings"
	"time"
)

// errorCode is the number of an event of the reference language.
type errorCode int

// The events. Negative ones are those of SCPI-1999; positive ones are the station's own.
const (
	noError           errorCode = 0
	syntaxError       errorCode = -102
	dataTypeError     errorCode = -104
	parameterExcess   errorCode = -108
	missingParameter  errorCode = -109
	undefinedHeader   errorCode = -113
	settingsConflict  errorCode = -221
	outOfRange        errorCode = -222
	illegalParameter  errorCode = -224
	outOfMemory       errorCode = -225
	queueOverflow     errorCode = -350
	inputOverrun      errorCode = -363
	noAcknowledge     errorCode = 110
	trackTripped      errorCode = 120
	errorQueueEntries           = 16
)

var errorTexts = map[errorCode]string{
	noError:          "No error",
	syntaxError:      "Syntax error",
	dataTypeError:    "Data type error",
	parameterExcess:  "Parameter not allowed",
	missingParameter: "Missing parameter",
	undefinedHeader:  "Undefined header",
	settingsConflict: "Settings conflict",
	outOfRange:       "Data out of range",
	illegalParameter: "Illegal parameter value",
	outOfMemory:      "Out of memory",
	queueOverflow:    "Queue overflow",
	inputOverrun:     "Input buffer overrun",
	noAcknowledge:    "No acknowledge",
	trackTripped:     "Track tripped",
}

func (c errorCode) String() string { return fmt.Sprintf("%d,%q", int(c), errorTexts[c]) }

// interpreter takes characters, gathers them into program messages (IEEE 488.2-1992 section 7) ended by line feed, and
// executes the units of a message in their order. A unit that takes long, such as a read of a CV, holds up the units
// behind it and nothing else.
type interpreter struct {
	station *firmware
	readyAt time.Duration // characters before are lost: the processor starts up
	// input is the buffer that the serial interrupt fills.
	input   []byte
	lines   int  // complete messages in it
	overrun bool // the message on its way was cut; what follows up to its line feed is dropped

	units     []unit // of the present message, still to execute
	executing bool
	responses []string
	errors    []errorCode
	// resume, if not nil, goes on with a unit that takes long; it reports whether the unit has ended.
	resume func(t time.Duration) bool
}

func (n *interpreter) init(s *firmware, ready time.Duration) {
	n.station, n.readyAt = s, ready
	n.input = make([]byte, 0, s.settings.inputBuffer)
}

// character is the serial receive interrupt.
func (n *interpreter) character(t time.Duration, c byte) {
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
func (n *interpreter) run(t time.Duration) {
	if n.resume != nil {
		if !n.resume(t) {
			return // whoever it waits for wakes the main loop
		}
		n.resume = nil
	} else if !n.executing {
		if n.lines == 0 {
			return
		}
		end := strings.IndexByte(string(n.input), '\n')
		message := string(n.input[:end])
		n.input = n.input[:copy(n.input, n.input[end+1:])]
		n.lines--
		n.units, n.executing = parse(message), true
	} else if len(n.units) > 0 {
		u := n.units[0]
		n.units = n.units[1:]
		n.execute(t, u)
		if n.resume != nil {
			if !n.resume(t) {
				return
			}
			n.resume = nil
		}
	}
	if len(n.units) == 0 {
		n.finish(t)
		return
	}
	n.station.wake(t + n.station.settings.unitTime)
}

// finish ends a message with the response of its queries, IEEE 488.2-1992 section 8.
func (n *interpreter) finish(t time.Duration) {
	n.executing = false
	if len(n.responses) > 0 {
		n.station.say(t, strings.Join(n.responses, ";")+"\n")
		n.responses = n.responses[:0]
	}
	if n.lines > 0 {
		n.station.wake(t + n.station.settings.unitTime)
	}
}

// raise puts an event into the error queue. The last entry of a full queue becomes queue overflow, SCPI-1999 21.8.1.
func (n *interpreter) raise(c errorCode) {
	if len(n.errors) == errorQueueEntries {
		n.errors[errorQueueEntries-1] = queueOverflow
		return
	}
	n.errors = append(n.errors, c)
}

func (n *interpreter) respond(text string) { n.responses = append(n.responses, text) }

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
