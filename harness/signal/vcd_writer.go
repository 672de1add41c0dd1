package signal

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// A VCDWriter writes tracks as a value change dump (IEEE 1364-2005, section 18): one wire for each track, 1 for positive, 0
// for negative and z for off, in a time scale of 1 ns. The first time stamp is that of the first edge.
//
// It keeps the first error and returns it from every call that follows.
type VCDWriter struct {
	w       *bufio.Writer
	signals []string
	line    []byte
	levels  []Level
	codes   []string
	begun   bool
	now     time.Duration
	err     error
}

// NewVCDWriter returns a writer of the named signals, at least one. A dot in a name separates scopes; characters that a VCD
// name cannot have become underscores. Nothing is closed or flushed before Close.
func NewVCDWriter(w io.Writer, signals ...string) *VCDWriter {
	v := &VCDWriter{w: bufio.NewWriterSize(w, 64<<10), signals: signals}
	v.levels = make([]Level, len(signals))
	v.codes = make([]string, len(signals))
	for i := range signals {
		v.levels[i] = unknown
		v.codes[i] = identifierCode(i)
	}
	v.header()
	return v
}

// identifierCode is the i-th identifier code: a number in the digits ! to ~ (IEEE 1364-2005, 18.2.1).
func identifierCode(i int) string {
	const firstDigit, base = '!', '~' - '!' + 1
	code := []byte{byte(firstDigit + i%base)}
	for i /= base; i > 0; i /= base {
		code = append(code, byte(firstDigit+i%base))
	}
	return string(code)
}

func (v *VCDWriter) header() {
	if len(v.signals) == 0 {
		v.err = fmt.Errorf("VCD: no signal to write")
		return
	}
	v.Comment("track signal: 1 positive, 0 negative, z off")
	v.print("$timescale 1 ns $end\n")
	for i, name := range v.signals {
		parts := strings.Split(name, ".")
		for _, scope := range parts[:len(parts)-1] {
			v.print("$scope module " + plainName(scope) + " $end\n")
		}
		v.print("$var wire 1 " + v.codes[i] + " " + plainName(parts[len(parts)-1]) + " $end\n")
		for range parts[:len(parts)-1] {
			v.print("$upscope $end\n")
		}
	}
	v.print("$enddefinitions $end\n")
}

// plainName makes a name that every reader takes.
func plainName(name string) string {
	plain := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '_':
			return r
		}
		return '_'
	}, name)
	if plain == "" || plain[0] >= '0' && plain[0] <= '9' {
		return "_" + plain
	}
	return plain
}

// Comment writes a comment. It may stand between edges.
func (v *VCDWriter) Comment(text string) error {
	// A comment ends at the first $end, so that the text cannot have one.
	v.print("$comment " + strings.ReplaceAll(strings.ToValidUTF8(text, "?"), "$end", "$ end") + " $end\n")
	return v.err
}

func (v *VCDWriter) print(s string) {
	if v.err == nil {
		_, v.err = v.w.WriteString(s)
	}
}

// Edge writes the change of the signal, counted from zero in the order of NewVCDWriter. The edges of all signals together
// must be in order of time, and no time may be below zero. A level that the signal already has is not written again.
func (v *VCDWriter) Edge(signal int, e Edge) error {
	switch {
	case v.err != nil:
		return v.err
	case signal < 0 || signal >= len(v.signals):
		v.err = fmt.Errorf("VCD: signal %d of %d", signal, len(v.signals))
		return v.err
	case e.Level != Positive && e.Level != Negative && e.Level != Off:
		v.err = fmt.Errorf("VCD: signal %s at %v: level %d is none", v.signals[signal], e.Time, e.Level)
		return v.err
	}
	if v.stamp(e.Time); v.err != nil {
		return v.err
	}
	if v.levels[signal] == e.Level {
		return nil
	}
	v.levels[signal] = e.Level
	v.line = append(v.line[:0], valueOf(e.Level))
	v.line = append(append(v.line, v.codes[signal]...), '\n')
	_, v.err = v.w.Write(v.line)
	return v.err
}

func valueOf(l Level) byte {
	switch l {
	case Positive:
		return '1'
	case Negative:
		return '0'
	}
	return 'z'
}

// stamp writes the time t, if it is not the one written last.
func (v *VCDWriter) stamp(t time.Duration) {
	switch {
	case t < 0:
		v.err = fmt.Errorf("VCD: time %v is below zero", t)
		return
	case v.begun && t < v.now:
		v.err = fmt.Errorf("VCD: time runs backwards from %v to %v", v.now, t)
		return
	case v.begun && t == v.now:
		return
	}
	v.line = append(v.line[:0], '#')
	v.line = append(strconv.AppendInt(v.line, int64(t), 10), '\n')
	_, v.err = v.w.Write(v.line)
	v.now = t
	if !v.begun {
		v.begun = true
		// Nothing is known of the other signals yet (IEEE 1364-2005, 18.2.3.9).
		v.print("$dumpvars\n")
		for _, code := range v.codes {
			v.print("x" + code + "\n")
		}
		v.print("$end\n")
	}
}

// End writes a last time stamp: until then nothing has changed.
func (v *VCDWriter) End(t time.Duration) error {
	if v.err == nil {
		v.stamp(t)
	}
	return v.err
}

// Close writes what is still in the buffer. It does not close the writer beneath.
func (v *VCDWriter) Close() error {
	if v.err == nil {
		v.err = v.w.Flush()
	}
	return v.err
}
