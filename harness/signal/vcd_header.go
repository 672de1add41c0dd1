package signal

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

const (
	hintNotVCD    = "a capture is a value change dump, IEEE 1364-2005 section 18, plain or compressed with gzip"
	wantTimescale = "1, 10 or 100 and s, ms, us, ns, ps or fs"
)

// variable is what a $var command declares.
type variable struct {
	scope, name string // without the bit range
	bits        string // the range as it is written, "[7:0]" or "[3]", or nothing
	msb, lsb    int
	width       int
	real        bool
	code        string // identifier code
}

// String is the name by which the variable can be chosen.
func (v *variable) String() string { return v.scope + v.name + v.bits }

// timescale is the unit of the time stamps: multiply nanoseconds, or one divide-th of a nanosecond. No more than most
// units have room in a time.Duration.
type timescale struct{ multiply, divide, most uint64 }

// header is what stands before the value changes.
type header struct {
	variables []variable
	declared  map[string]struct{} // identifier codes
	scale     timescale
}

// readHeader reads up to $enddefinitions (IEEE 1364-2005, 18.2.3).
func readHeader(t *tokens) (*header, error) {
	h := &header{declared: map[string]struct{}{}}
	var scopes []string
	for begun := false; ; begun = true {
		token, err := t.next()
		if err == io.EOF {
			if !begun {
				return nil, &SyntaxError{Line: t.line, What: "the file is empty", Want: "$timescale", Hint: hintNotVCD}
			}
			return nil, &SyntaxError{Line: t.line, What: "the file ends before $enddefinitions", Hint: hintTruncated}
		}
		if err != nil {
			return nil, err
		}
		line := t.line
		switch command := string(token); command {
		case "$timescale":
			words, err := wordsToEnd(t, command, 3)
			if err != nil {
				return nil, err
			}
			if h.scale != (timescale{}) {
				return nil, &SyntaxError{Line: line, What: "a second $timescale", Want: "one"}
			}
			if h.scale, err = parseTimescale(line, strings.Join(words, "")); err != nil {
				return nil, err
			}
		case "$scope":
			words, err := wordsToEnd(t, command, 4)
			if err != nil {
				return nil, err
			}
			if len(words) != 2 {
				return nil, &SyntaxError{Line: line, What: "$scope", Got: strings.Join(words, " "), Want: "a type and a name"}
			}
			scopes = append(scopes, strings.TrimPrefix(words[1], `\`)+".")
		case "$upscope":
			if _, err := wordsToEnd(t, command, 0); err != nil {
				return nil, err
			}
			if len(scopes) == 0 {
				return nil, &SyntaxError{Line: line, What: "$upscope outside any scope"}
			}
			scopes = scopes[:len(scopes)-1]
		case "$var":
			words, err := wordsToEnd(t, command, 16)
			if err != nil {
				return nil, err
			}
			if err := h.declare(line, strings.Join(scopes, ""), words); err != nil {
				return nil, err
			}
		case "$enddefinitions":
			if _, err := wordsToEnd(t, command, 0); err != nil {
				return nil, err
			}
			if h.scale == (timescale{}) {
				return nil, &SyntaxError{Line: line, What: "no $timescale before $enddefinitions", Want: wantTimescale,
					Hint: "without it the time stamps have no unit"}
			}
			return h, nil
		default:
			if len(command) < 2 || command[0] != '$' || command == "$end" {
				return nil, &SyntaxError{Line: line, What: "no declaration", Got: command,
					Want: "$timescale, $var, $enddefinitions or another command", Hint: hintNotVCD}
			}
			if err := skipToEnd(t, command); err != nil { // $date, $version, $comment, or what some tool adds
				return nil, err
			}
		}
	}
}

// wordsToEnd reads the words of a command, at most so many, up to its $end.
func wordsToEnd(t *tokens, command string, most int) ([]string, error) {
	line := t.line
	var words []string
	for {
		token, err := t.next()
		if err == io.EOF {
			return nil, noEnd(line, command)
		}
		if err != nil {
			return nil, err
		}
		if string(token) == "$end" {
			return words, nil
		}
		if len(words) == most {
			return nil, &SyntaxError{Line: t.line, What: "too many words in " + command, Got: string(token), Want: "$end"}
		}
		words = append(words, string(token))
	}
}

func skipToEnd(t *tokens, command string) error {
	line := t.line
	for {
		token, err := t.next()
		if err == io.EOF {
			return noEnd(line, command)
		}
		if err != nil {
			return err
		}
		if string(token) == "$end" {
			return nil
		}
	}
}

func noEnd(line int, command string) error {
	return &SyntaxError{Line: line, What: shortWord(command) + " without its $end before the file ends", Hint: hintTruncated}
}

// shortWord keeps a word of a damaged file from filling the screen.
func shortWord(s string) string {
	const most = 40
	if len(s) > most {
		return fmt.Sprintf("%.40q…", s[:most])
	}
	return s
}

// parseTimescale reads a number and a unit (IEEE 1364-2005, 18.2.3.5).
func parseTimescale(line int, text string) (timescale, error) {
	digits := len(text) - len(strings.TrimLeft(text, "0123456789"))
	var n uint64
	switch text[:digits] {
	case "1":
		n = 1
	case "10":
		n = 10
	case "100":
		n = 100
	}
	var s timescale
	switch text[digits:] {
	case "s":
		s = timescale{multiply: n * uint64(time.Second), divide: 1}
	case "ms":
		s = timescale{multiply: n * uint64(time.Millisecond), divide: 1}
	case "us":
		s = timescale{multiply: n * uint64(time.Microsecond), divide: 1}
	case "ns":
		s = timescale{multiply: n, divide: 1}
	case "ps":
		s = timescale{multiply: 1, divide: 1000}
	case "fs":
		s = timescale{multiply: 1, divide: 1000000}
	default:
		n = 0
	}
	if n == 0 {
		return timescale{}, &SyntaxError{Line: line, What: "$timescale", Got: text, Want: wantTimescale}
	}
	s.most = math.MaxInt64 / s.multiply
	if s.divide > 1 {
		s.divide /= n
		s.most = math.MaxUint64 // less than a nanosecond each
	}
	return s, nil
}

// nanoseconds converts a number of time units, rounding to the nearest. It reports false when the result has no room.
func (s timescale) nanoseconds(units uint64) (time.Duration, bool) {
	if units > s.most {
		return 0, false
	}
	if s.divide > 1 {
		return time.Duration(units/s.divide + (units%s.divide+s.divide/2)/s.divide), true
	}
	return time.Duration(units * s.multiply), true
}

// declare takes the words of a $var command: type, size, identifier code, name, and a bit range that may be joined to the
// name or not (IEEE 1364-2005, 18.2.3.7).
func (h *header) declare(line int, scope string, words []string) error {
	if len(words) < 4 {
		return &SyntaxError{Line: line, What: "$var", Got: strings.Join(words, " "), Want: "type, size, identifier code and name"}
	}
	const mostBits = 1 << 16
	width, err := strconv.Atoi(words[1])
	if err != nil || width < 0 || width > mostBits {
		return &SyntaxError{Line: line, What: "size of a $var", Got: words[1], Want: fmt.Sprintf("a number of bits up to %d", mostBits)}
	}
	v := variable{scope: scope, width: width, code: words[2]}
	for _, c := range []byte(v.code) {
		if c < '!' || c > '~' {
			return &SyntaxError{Line: line, What: "identifier code", Got: v.code, Want: "printable ASCII characters"}
		}
	}
	h.declared[v.code] = struct{}{}
	switch words[0] {
	case "event", "parameter", "string":
		return nil // nothing that a track could be
	case "real", "realtime", "shortreal":
		v.real = true
	}
	v.name = strings.Join(words[3:], "")
	if escaped, found := strings.CutPrefix(v.name, `\`); found {
		// An escaped identifier ends at white space (IEEE 1364-2005, 3.7.1): brackets in its first word belong to it.
		v.name = escaped
		if len(words) > 4 {
			v.name, v.bits = strings.TrimPrefix(words[3], `\`), strings.Join(words[4:], "")
		}
	} else if open := strings.LastIndexByte(v.name, '['); open > 0 && strings.HasSuffix(v.name, "]") {
		v.name, v.bits = v.name[:open], v.name[open:]
	}
	v.msb, v.lsb = width-1, 0
	if v.bits != "" {
		msb, lsb, ok := parseRange(v.bits)
		switch {
		case !ok:
			v.name, v.bits = v.name+v.bits, ""
		case max(msb-lsb, lsb-msb)+1 == width:
			v.msb, v.lsb = msb, lsb
		}
	}
	h.variables = append(h.variables, v)
	return nil
}

// parseRange reads "[7:0]" or "[3]".
func parseRange(s string) (msb, lsb int, ok bool) {
	inner, found := strings.CutPrefix(s, "[")
	inner, closed := strings.CutSuffix(inner, "]")
	if !found || !closed {
		return 0, 0, false
	}
	high, low, both := strings.Cut(inner, ":")
	if !both {
		low = high
	}
	const most = 1 << 20
	msb, err := strconv.Atoi(high)
	lsb, err2 := strconv.Atoi(low)
	ok = err == nil && err2 == nil && max(msb, -msb) < most && max(lsb, -lsb) < most
	return msb, lsb, ok
}

// choice is one signal of a file: a variable, or one bit of it.
type choice struct {
	code string
	bit  int // counted from the right, or -1 for the whole variable
	real bool
}

// find resolves a name: with its scopes or without, with its bit range or without, or with one bit of it.
func (h *header) find(name string) (choice, error) {
	var found []choice
	var names []string
	add := func(v *variable, bit int) {
		c := choice{v.code, bit, v.real}
		if !slices.Contains(found, c) {
			found = append(found, c)
			names = append(names, v.String())
		}
	}
	for i := range h.variables {
		v := &h.variables[i]
		if name == v.String() {
			return choice{v.code, -1, v.real}, nil
		}
	}
	for i := range h.variables {
		v := &h.variables[i]
		for _, plain := range []string{v.scope + v.name, v.name} {
			switch rest, prefixed := strings.CutPrefix(name, plain); {
			case !prefixed:
				continue
			case rest == "" || rest == v.bits:
				add(v, -1)
			default:
				if bit, ok := v.bit(rest); ok {
					add(v, bit)
				}
			}
			break
		}
	}
	switch len(found) {
	case 0:
		return choice{}, &ChoiceError{Name: name, Signals: h.names()}
	case 1:
		return found[0], nil
	}
	return choice{}, &ChoiceError{Name: name, Signals: names, Ambiguous: true}
}

// bit is the place, counted from the right, of the bit that is written behind the variable's name.
func (v *variable) bit(written string) (int, bool) {
	index, again, ok := parseRange(written)
	if !ok || index != again || v.real || index < min(v.msb, v.lsb) || index > max(v.msb, v.lsb) {
		return 0, false
	}
	return max(index-v.lsb, v.lsb-index), true
}

// only is the signal of a file that has no other. The same one under several names is one.
func (h *header) only() (choice, error) {
	if len(h.variables) == 0 {
		return choice{}, &ChoiceError{}
	}
	first := h.variables[0]
	for _, v := range h.variables[1:] {
		if v.code != first.code {
			return choice{}, &ChoiceError{Signals: h.names()}
		}
	}
	return choice{first.code, -1, first.real}, nil
}

func (h *header) names() []string {
	names := make([]string, len(h.variables))
	for i := range h.variables {
		names[i] = h.variables[i].String()
	}
	return names
}

// A ChoiceError says that it is not clear which signal of a capture is meant.
type ChoiceError struct {
	Name      string   // what was asked for; nothing if nothing was
	Signals   []string // the signals there are, or those among which Name does not decide
	Ambiguous bool     // Name fits several
}

// Error says what was asked for and what there is.
func (e *ChoiceError) Error() string {
	const most = 20
	list := strings.Join(e.Signals[:min(most, len(e.Signals))], ", ")
	if more := len(e.Signals) - most; more > 0 {
		list += fmt.Sprintf(" and %d more", more)
	}
	switch {
	case len(e.Signals) == 0:
		return "the capture has no signal"
	case e.Ambiguous:
		return fmt.Sprintf("the name %q fits several signals: %s (give the name with its scopes)", e.Name, list)
	case e.Name == "":
		return "the capture has several signals, and one must be chosen: " + list
	}
	return fmt.Sprintf("the capture has no signal %q; it has %s", e.Name, list)
}
