package station

import (
	"maps"
	"regexp"
	"slices"
	"time"
)

// Means is what a line from a station says.
type Means string

// What an answer can mean, as dialect files write it.
const (
	MeansDone          Means = "done"           // carried out
	MeansValue         Means = "value"          // carried out; the group "value" holds what was asked for
	MeansRefused       Means = "refused"        // not carried out; groups "code" and "text" may say why
	MeansNoAcknowledge Means = "no acknowledge" // no decoder answered
	MeansTripped       Means = "tripped"        // the track is off because of an overload
	MeansBusy          Means = "busy"           // ask again later
	MeansEvent         Means = "event"          // not the answer: something that the station says by itself
)

// A Dialect is how a station is talked to: what is sent for each operation and what may come back. It does not change
// once it is parsed, and may be shared.
type Dialect struct {
	name       string
	end        string // of a line sent
	answerEnd  string // of a line received
	lineLimit  int
	write      time.Duration
	busyPause  time.Duration
	quiet      time.Duration
	window     int
	firstLong  int
	words      map[valueName]map[string]string
	meanings   map[valueName]map[string]string // words of answers, the other way round
	operations map[Operation]*request
	events     []answer
	inStep     *inStep
}

// answer is a kind of line that may come back.
type answer struct {
	means   Means
	pattern *regexp.Regexp
	name    string  // of an event
	value   *string // given by the file, not by the line
}

// inStep is the exchange that brings station and driver into step again.
type inStep struct {
	send    string
	pattern *regexp.Regexp
	timeout time.Duration
}

// Name is the name that the file gives the dialect.
func (d *Dialect) Name() string { return d.name }

// Has reports whether the dialect can ask for the operation.
func (d *Dialect) Has(o Operation) bool { return d.operations[o] != nil }

// Operations lists what the dialect can ask for, in alphabetical order.
func (d *Dialect) Operations() []Operation { return slices.Sorted(maps.Keys(d.operations)) }

// Timeout is how long the dialect lets the station take to answer an operation, from the instant at which the last byte
// was handed over; zero when the dialect lacks it.
func (d *Dialect) Timeout(o Operation) time.Duration {
	if r := d.operations[o]; r != nil {
		return r.timeout
	}
	return 0
}

// ParseDialect reads a dialect from TOML; name stands for the file in errors. Unknown keys, templates with values that
// the operation does not have and patterns that cannot work are errors; all that are found come back together, each a
// *FileError with its place, joined (errors.As finds the first).
//
// The keys. Times are texts such as "250ms"; patterns are RE2 and always have to match the whole line.
//
//	name = "..."                   of the dialect; needed
//	[line] end = "\n"              ends what is sent
//	[line] answer_end              ends what comes back; default: the same
//	[line] limit = 4096            bytes that an answer may have
//	[line] window = 4              commands that may be unanswered while the line is kept busy (Driver.Flood)
//	[time] answer = "2s"           from the last byte handed over until the answer
//	[time] write = "2s"            for handing over a request
//	[time] busy_pause = "20ms"     before a request that met "busy" is sent again
//	[time] quiet = "50ms"          silence after which nothing more is expected from the station
//	[address] first_long = 128     for stations that tell short from long addresses by the number alone
//	[words.NAME] text = "word"     what a value is called on the line; see below
//	[[answers.LIST]]               means, pattern, value: a list of answers that operations share
//	[[event]] name, pattern        what the station says by itself
//	[resynchronise] send, pattern, timeout     a harmless query whose answer looks like no other answer
//	[operation.NAME]               an operation that the station has; leave out the others
//	  send = "...{value}..."       what is sent, without its line end; {{ and }} are braces
//	  timeout = "5s"               in place of [time] answer
//	  fixed = { steps = "128" }    a value that is not in the template because the station knows only this one
//	  unit = "1mA"                 of [operation.current]: what the number in the answer counts
//	  use = ["common"]             lists of answers that hold for it, tried after its own; default: the list "common"
//	  [[operation.NAME.answer]]    means, pattern, value: tried in this order, before the lists
//
// means is one of: done, value, refused, no acknowledge, tripped, busy, event. Patterns may name the groups value, code
// and text, and for identify maker, model, serial and version. value in an answer stands for a group "value" when the
// line has a meaning but no value.
//
// The operations and their values: identify; reset; set_power {track} {power}; power {track}; current {track};
// set_speed {address} {kind} {steps} {direction} {step}; set_function {address} {kind} {function} {state};
// release, stop {address} {kind}; stop_all; set_accessory {number} {output}; set_aspect {number} {aspect};
// read_cv {cv} {method}; write_cv, verify_cv {cv} {value} {method}; write_bit {cv} {bit} {value} {method};
// write_on_main {address} {kind} {cv} {value}. A template has to use every value or fix it; {kind} may be missing when
// the number tells (first_long), {method} when the station chooses.
//
// Words map direction (forward, reverse), state (on, off), power (on, off, and tripped in answers), track (main,
// programming), kind (short, long), method (direct, paged, register, address, default; default is used when no
// method is asked for), verified (true, false; only in answers), steps and output.
func ParseDialect(name string, data []byte) (*Dialect, error) {
	var file dialectFile
	doc, ok := open(name, data, &file)
	if !ok {
		return nil, doc.err()
	}
	p := dialectParser{document: doc, file: &file}
	d := p.dialect()
	if err := doc.err(); err != nil {
		return nil, err
	}
	return d, nil
}
