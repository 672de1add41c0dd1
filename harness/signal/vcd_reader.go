package signal

import (
	"fmt"
	"io"
	"time"
)

// A VCDReader reads the edges of one signal from a value change dump (IEEE 1364-2005, section 18). It streams: its memory
// does not depend on the length of the file.
//
// A wire is positive at 1, negative at 0 and off at x and z. A vector is positive when any bit is 1, negative when all are 0
// and off otherwise; one bit of it can be chosen. A real is a voltage. What $dumpoff hides is x, and so off.
//
// Times count from the first time stamp of the file and are rounded to nanoseconds one by one, so that no error adds up.
// Of several values at one time the last counts. A value that says nothing new is no edge. The first edge of a file tells
// the level that the track has at the beginning.
type VCDReader struct {
	tokens  *tokens
	header  *header
	chosen  bool
	reading bool
	choice  choice
	err     error // sticks

	started    bool // a time stamp was read
	origin     uint64
	stamp      uint64 // the newest
	now        time.Duration
	dumping    string // the command whose values are being read, if any
	dumpLine   int
	pending    bool // a value at the time now, not yet overtaken by another
	value      Level
	volts      float64
	level      Level // of the last edge
	voltage    voltage
	queue      [4]Edge // found and not yet handed out
	queued     int
	shortCodes [256]bool // whether an identifier code of one character is declared
}

// NewVCDReader reads the declarations of a capture, compressed with gzip or not. Errors in the contents are a *SyntaxError.
func NewVCDReader(r io.Reader) (*VCDReader, error) {
	plain, err := uncompressed(r)
	if err != nil {
		return nil, err
	}
	v := &VCDReader{tokens: newTokens(plain), level: unknown, voltage: newVoltage()}
	if v.header, err = readHeader(v.tokens); err != nil {
		return nil, err
	}
	for code := range v.header.declared {
		if len(code) == 1 {
			v.shortCodes[code[0]] = true
		}
	}
	return v, nil
}

// Signals names the signals of the file that could be a track, in the order of the file: scope.name, with the range of
// bits of a vector.
func (v *VCDReader) Signals() []string { return v.header.names() }

// Choose says which signal to read: by its name with the scopes, or without where that is clear, or with one bit of a
// vector as name[bit]. It must come before the first Read. A file with only one signal needs no choice. The error is a
// *ChoiceError.
func (v *VCDReader) Choose(name string) error {
	if v.reading {
		return fmt.Errorf("signal %q chosen after reading began", name)
	}
	c, err := v.header.find(name)
	if err != nil {
		return err
	}
	v.choice, v.chosen = c, true
	return nil
}

// Resolution is the time scale of the file, at least 1 ns.
func (v *VCDReader) Resolution() time.Duration { return time.Duration(v.header.scale.multiply) }

// End is the last time stamp read so far. After io.EOF it is that of the file: the time for [Receiver.Finish].
func (v *VCDReader) End() time.Duration { return v.now }

// Read fills buf with the next edges and returns how many there are; at the end it returns io.EOF. Like an io.Reader it
// may return fewer than there is room for.
func (v *VCDReader) Read(buf []Edge) (int, error) {
	if !v.reading && v.err == nil {
		v.reading = true
		if !v.chosen {
			v.choice, v.err = v.header.only()
		}
	}
	n := 0
	for n < len(buf) {
		if v.queued == 1 { // the rule
			buf[n], v.queued = v.queue[0], 0
			n++
			continue
		}
		if v.queued > 1 {
			moved := copy(buf[n:], v.queue[:v.queued])
			n += moved
			v.queued = copy(v.queue[:], v.queue[moved:v.queued])
			continue
		}
		if v.err != nil {
			if n > 0 {
				return n, nil
			}
			return 0, v.err
		}
		v.err = v.step()
	}
	return n, nil
}

// step reads until something is in the queue or the file ends.
func (v *VCDReader) step() error {
	for v.queued == 0 {
		token, err := v.tokens.next()
		if err != nil {
			if err == io.EOF {
				return v.atEnd()
			}
			return err
		}
		switch token[0] {
		case '#':
			if err := v.timeStamp(token); err != nil {
				return err
			}
		case '0', '1', 'x', 'X', 'z', 'Z':
			code := token[1:]
			if string(code) == v.choice.code {
				v.change(levelOf(token[:1], v.choice.bit))
			} else if err := v.other(code); err != nil {
				return err
			}
		case 'b', 'B', 'r', 'R', 's', 'S':
			if err := v.longValue(token); err != nil {
				return err
			}
		case '$':
			if err := v.command(token); err != nil {
				return err
			}
		default:
			return v.syntax("no time stamp and no value", token, "#time, a value with its identifier code, or $end")
		}
	}
	return nil
}

func (v *VCDReader) syntax(what string, got []byte, want string) error {
	return &SyntaxError{Line: v.tokens.line, What: what, Got: string(got[:min(len(got), 64)]), Want: want}
}

// timeStamp takes "#" and decimal digits (IEEE 1364-2005, 18.2.1).
func (v *VCDReader) timeStamp(token []byte) error {
	digits := token[1:]
	if len(digits) == 0 {
		return v.syntax("time stamp", token, "# and decimal digits")
	}
	var stamp uint64
	for _, c := range digits {
		digit := uint64(c - '0')
		if digit > 9 {
			return v.syntax("time stamp", token, "# and decimal digits")
		}
		if stamp >= 1<<64/10 && (stamp > (1<<64-1-digit)/10) {
			return v.gigantic(token)
		}
		stamp = stamp*10 + digit
	}
	switch {
	case !v.started:
		v.started, v.origin, v.stamp = true, stamp, stamp
		return nil
	case stamp == v.stamp:
		return nil
	case stamp < v.stamp:
		return v.syntax("time runs backwards", token, fmt.Sprintf("#%d or later", v.stamp))
	}
	now, ok := v.header.scale.nanoseconds(stamp - v.origin)
	if !ok {
		return v.gigantic(token)
	}
	v.settle()
	v.stamp, v.now = stamp, now
	return nil
}

func (v *VCDReader) gigantic(token []byte) error {
	err := v.syntax("time stamp out of range", token, "less than 292 years").(*SyntaxError)
	err.Hint = "is the $timescale right?"
	return err
}

// change takes a value of the chosen signal.
func (v *VCDReader) change(l Level) { v.pending, v.value = true, l }

// settle makes the last value of a time an edge, now that the time is over.
func (v *VCDReader) settle() {
	if !v.pending {
		return
	}
	v.pending = false
	if v.choice.real {
		v.queued += v.voltage.sample(v.now, v.volts, v.queue[v.queued:])
		return
	}
	if v.value != v.level {
		v.level = v.value
		v.queue[v.queued] = Edge{v.now, v.value}
		v.queued++
	}
}

// other checks a value of another signal.
func (v *VCDReader) other(code []byte) error {
	if len(code) == 1 && v.shortCodes[code[0]] {
		return nil
	}
	if len(code) == 0 {
		return v.syntax("a value without an identifier code", nil, "one right behind the value")
	}
	if _, declared := v.header.declared[string(code)]; !declared {
		return v.syntax("identifier code of no $var", code, "a declared one")
	}
	return nil
}

// longValue takes a vector, a real or a string, each with the identifier code in a word of its own.
func (v *VCDReader) longValue(token []byte) error {
	kind := token[0] | 0x20
	var level Level
	var volts float64
	var err error
	switch kind {
	case 'b':
		for _, c := range token[1:] {
			switch c {
			case '0', '1', 'x', 'X', 'z', 'Z':
			default:
				return v.syntax("vector", token, "b and the digits 0 1 x z")
			}
		}
		if len(token) == 1 {
			return v.syntax("vector", token, "b and the digits 0 1 x z")
		}
		level = levelOf(token[1:], v.choice.bit)
	case 'r':
		if volts, err = parseReal(token[1:]); err != nil {
			return v.syntax("real", token, "r and a decimal number")
		}
	}
	code, err := v.tokens.next()
	if err == io.EOF {
		return v.syntax("a value without an identifier code before the file ends", nil, "")
	}
	if err != nil {
		return err
	}
	if string(code) != v.choice.code {
		return v.other(code)
	}
	switch {
	case kind == 'r' && v.choice.real:
		v.pending, v.volts = true, volts
	case kind == 'b' && !v.choice.real:
		v.change(level)
	default:
		return v.syntax("a value that does not fit the declared type of its signal", code, "")
	}
	return nil
}

// command takes a word that begins with a dollar sign.
func (v *VCDReader) command(token []byte) error {
	switch string(token) {
	case "$comment":
		return skipToEnd(v.tokens, "$comment")
	case "$dumpvars", "$dumpall", "$dumpon", "$dumpoff":
		if v.dumping != "" {
			return v.syntax("a command inside "+v.dumping, token, "$end")
		}
		v.dumping, v.dumpLine = string(token), v.tokens.line
		return nil
	case "$end":
		if v.dumping == "" {
			return v.syntax("$end of nothing", nil, "")
		}
		v.dumping = ""
		return nil
	}
	return v.syntax("command", token, "$comment, $dumpvars, $dumpall, $dumpon, $dumpoff or $end")
}

// atEnd takes the end of the file.
func (v *VCDReader) atEnd() error {
	if v.dumping != "" {
		return noEnd(v.dumpLine, v.dumping)
	}
	if !v.started {
		return &SyntaxError{Line: v.tokens.line, What: "the file ends without a time stamp", Want: "#time and values",
			Hint: "nothing was recorded, or the file is cut short"}
	}
	v.settle()
	if v.choice.real {
		v.queued += v.voltage.end(v.now, v.queue[v.queued:])
	}
	return io.EOF
}
