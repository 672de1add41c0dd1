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
	MeansPart          Means = "part"           // a message of an answer that has more; its groups are kept for the last one
)

// A Dialect is how a station is talked to: what is sent for each operation and what may come back. It does not change
// once it is parsed, and may be shared.
type Dialect struct {
	name       string
	binary     bool          // messages are frames of bytes, their text hexadecimal
	sends      framing       // what the driver sends
	receives   framing       // what comes back
	gap        time.Duration // silence that ends an answer, when nothing else does
	echo       bool
	write      time.Duration
	busyPause  time.Duration
	quiet      time.Duration
	window     int
	firstLong  int
	words      map[valueName]map[string]string
	meanings   map[valueName]map[string]string // words of answers, the other way round
	fields     map[valueName]*field
	operations map[Operation]*request
	events     []answer
	start      []inStep
	keepAlive  *keepAlive
	inStep     *inStep
	lists      map[string][]answer // shared answers
	examples   []example
	places     *document // for remarks
}

// answer is a kind of message that may come back.
type answer struct {
	means   Means
	pattern *regexp.Regexp
	name    string  // of an event
	restart bool    // an event that says that the station has started
	value   *string // given by the file, not by the message
	formats map[valueName]format
	say     *template // nil when the file has none
	path    string    // of its table in the file
}

// inStep is a question beside the operations, as the one that brings station and driver into step again.
type inStep struct {
	send    string
	pattern *regexp.Regexp
	timeout time.Duration
	say     *template
	path    string
}

// Name is the name that the file gives the dialect.
func (d *Dialect) Name() string { return d.name }

// Has reports whether the dialect can ask for the operation.
func (d *Dialect) Has(o Operation) bool { return d.operations[o] != nil }

// Can says why the dialect has no words for a command, as a *NotSupported, or nil where it has.
func (d *Dialect) Can(c Command) error {
	_, _, err := d.render(c)
	return err
}

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
// The keys. Times are texts such as "250ms"; patterns are RE2 and always have to match the whole message.
//
//	name = "..."                   of the dialect; needed
//	[line] end = "\n"              ends what is sent
//	[line] answer_end              ends what comes back; default: the same
//	[line] tolerant = true         CR, LF and CRLF all end what comes back; empty lines are passed over
//	[line] answer_gap = "20ms"     what comes back has no end but a silence
//	[line] text = "any"            lines may have bytes that are no printable text; default "printable"
//	[line] echo = true             the station says back what it is sent, before it answers
//	[line] limit = 4096            bytes that an answer may have
//	[line] window = 4              commands that may be unanswered while the line is kept busy (Driver.Flood)
//	[frame]                        in place of [line], for binary dialects; see below
//	[checksum]                     kind, before, order, from: a check value behind every message; see below
//	[time] answer = "2s"           from the last byte handed over until the answer
//	[time] write = "2s"            for handing over a request
//	[time] busy_pause = "20ms"     before a request that met "busy" is sent again
//	[time] quiet = "50ms"          silence after which nothing more is expected from the station
//	[address] first_long = 128     for stations that tell short from long addresses by the number alone
//	[words.NAME] text = "word"     what a value is called in a message; see below
//	[fields.NAME] value, back      a value that is computed from those of the operation; see below
//	[[answers.LIST]]               means, pattern, value, formats, say: a list of answers that operations share
//	[[event]] name, pattern, restart, say      what the station says by itself; restart = true: when it has started
//	[[start]] send, pattern, timeout, say      asked in this order after the link is opened and after a restart
//	[keep_alive] every, send, pattern, timeout, say     asked when nothing else was for so long
//	[resynchronise] send, pattern, timeout, say     a harmless query whose answer looks like no other answer
//	[operation.NAME]               an operation that the station has; leave out the others
//	  send = "...{value}..."       what is sent, without its line end; {{ and }} are braces
//	  timeout = "5s"               in place of [time] answer
//	  fixed = { steps = "128" }    a value that is not in the template because the station knows only this one
//	  unit = "1mA"                 of [operation.current]: what the number in the answer counts
//	  use = ["common"]             lists of answers that hold for it, tried after its own; default: the list "common"
//	  [[operation.NAME.answer]]    means, pattern, value, formats, say: tried in this order, before the lists
//	[[example]]                    operation, send, receive, means: see CheckExamples
//
// means is one of: done, value, refused, no acknowledge, tripped, busy, event, part. Patterns may name the groups value,
// code and text, and for identify maker, model, serial and version. value in an answer stands for a group "value" when
// the message has a meaning but no value. part is a message after which more of the same answer follow; what its groups
// hold counts as if the last message had them. say is what a simulated station says (Responder): a template of the same
// groups, which has to match the pattern.
//
// The operations and their values: identify; reset; set_power {track} {power}; power {track}; current {track};
// set_speed {address} {kind} {steps} {direction} {step}; set_function {address} {kind} {function} {state};
// release, stop {address} {kind}; stop_all; set_accessory {number} {output}; set_aspect {number} {aspect};
// read_cv {cv} {method}; write_cv, verify_cv {cv} {value} {method}; write_bit {cv} {bit} {value} {method};
// write_on_main {address} {kind} {cv} {value}; write_bit_on_main {address} {kind} {cv} {bit} {value};
// clear_accessory {number} {output}; set_consist {address} {kind} {consist} {facing}; clear_consist {address} {kind}. A template has to use every value or fix it; {kind} may be missing when
// the number tells (first_long), {method} when the station chooses.
//
// Formats: {cv} is decimal, {cv:4} decimal with zeros in front, {cv:x2} and {cv:X4} hexadecimal with so many digits.
// formats = { value = "x2" } says the same of a group of an answer. A number that does not fit is *NotSupported.
//
// Words map direction (forward, reverse), state (on, off), power (on, off, and tripped in answers), track (main,
// programming), kind (short, long), method (direct, paged, register, address, default; default is used when no
// method is asked for), verified (true, false; only in answers), facing (normal, reversed), steps and output.
//
// Fields: [fields.pace] value = "(direction == 'forward' ? 128 : 0) + step" makes {pace}, which takes formats too. The
// expressions are those of expr-lang/expr without loops, over the values of the operation: numbers as int, others as the
// harness's words, left in the list above. back = { direction = "pace > 127 ? 'forward' : 'reverse'", step = "pace % 128" }
// turns it round for a simulated station.
//
// A checksum's kind is xor, sum (modulo 256), or a CRC such as crc-8/smbus or crc-16/xmodem; order is "big" or "little".
// A line has it as hexadecimal digits behind the text in before; it covers all that stands before that. A frame has it as
// bytes behind its payload; it covers all from the piece that from names: start, head, length or body.
//
// In a binary dialect a message is written as the bytes of its payload in hexadecimal with spaces, "52 00 1D", in
// templates, words and patterns alike. {cv} is one byte, {cv:2} two, {cv:2le} two with the low one first, {cv:2i} in two's
// complement. The groups value and code are numbers of one to four bytes, the others hold characters. The keys of [frame]:
//
//	start = "A5"                   bytes with which every frame begins; needed
//	length = "2le"                 how the length is written, a format; none: end and escape are needed
//	head = 1                       bytes of the payload that stand before the length; default 0
//	counts = ["body"]              what the length counts: of start, head, length, body (the rest of the payload),
//	                               checksum and end
//	end = "0D"                     bytes with which every frame ends
//	escape = "7D"                  stands before a byte inside the frame that is one of start, end or escape
//	escape_xor = "20"              with which the byte behind it is changed
//	limit, window, echo            as of [line]; limit is of the payload, 256 by default and 2048 at most
func ParseDialect(name string, data []byte) (*Dialect, error) {
	var file dialectFile
	doc, ok := open(name, data, &file)
	if !ok {
		return nil, doc.Err()
	}
	p := dialectParser{document: doc, file: &file}
	d := p.dialect()
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return d, nil
}
