package link

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// Direction tells which way bytes went.
type Direction byte

// The directions, seen from the harness, as a log writes them.
const (
	Sent     Direction = '>' // to the station
	Received Direction = '<' // from the station
)

// An Entry is one run of bytes that a link carried: what one write handed over, or what reads returned close together.
type Entry struct {
	// Time on the rig's clock: for sent bytes when the last of them was handed over, for received bytes when the last of
	// them was read.
	Time      time.Duration
	Direction Direction
	Bytes     []byte
}

// A Log holds what a link carried, in order of time. The zero value is an empty log.
type Log struct {
	Entries []Entry
	// Lost counts the bytes that came after the log was full.
	Lost int64
}

// logTitle is the first line of a log file; the number is the version of the format.
const logTitle = "bufferstop link log 1"

// WriteTo writes the log as text: a title, then one line an entry with seconds, direction and the bytes as a quoted
// string in the syntax of Go, in printable ASCII whatever the station sent:
//
//	bufferstop link log 1
//	0.001000000 > "*IDN?\n"
//	0.003250000 < "maker,model,1,2\n"
func (l *Log) WriteTo(w io.Writer) (int64, error) {
	var written int64
	buffered := bufio.NewWriter(w)
	put := func(format string, values ...any) error {
		n, err := fmt.Fprintf(buffered, format, values...)
		written += int64(n)
		return err
	}
	if err := put("%s\n", logTitle); err != nil {
		return written, err
	}
	for _, e := range l.Entries {
		if err := put("%s %c %s\n", seconds(e.Time), e.Direction, strconv.QuoteToASCII(string(e.Bytes))); err != nil {
			return written, err
		}
	}
	if l.Lost > 0 {
		if err := put("lost %d\n", l.Lost); err != nil {
			return written, err
		}
	}
	return written, buffered.Flush()
}

// seconds prints a time with nine places, so that columns line up and nothing is rounded.
func seconds(t time.Duration) string {
	sign := ""
	if t < 0 {
		sign, t = "-", -t
	}
	return fmt.Sprintf("%s%d.%09d", sign, t/time.Second, t%time.Second)
}

// A LogError says what is wrong with a log file, and where.
type LogError struct {
	Line            int // counted from 1
	What, Got, Want string
}

// Error names the line, what is there and what should be.
func (e *LogError) Error() string {
	return fmt.Sprintf("link log, line %d: %s: got %q, want %s", e.Line, e.What, e.Got, e.Want)
}

// maxLogLine bounds a line of a log file: one entry holds what one call carried.
const maxLogLine = 16 << 20

// ReadLog reads what WriteTo has written. Empty lines and lines that start with # are passed over. Errors are *LogError,
// or those of r.
func ReadLog(r io.Reader) (*Log, error) {
	log := new(Log)
	scanner := bufio.NewScanner(r)
	scanner.Buffer(make([]byte, 0, 4096), maxLogLine)
	number := 0
	for scanner.Scan() {
		number++
		text := strings.TrimSuffix(scanner.Text(), "\r")
		if number == 1 {
			if text != logTitle {
				return nil, &LogError{number, "title", clip(text), strconv.Quote(logTitle)}
			}
			continue
		}
		if text == "" || text[0] == '#' {
			continue
		}
		if err := log.line(number, text); err != nil {
			return nil, err
		}
	}
	if errors.Is(scanner.Err(), bufio.ErrTooLong) {
		return nil, &LogError{number + 1, "length", "more", fmt.Sprintf("at most %d bytes", maxLogLine)}
	}
	if err := scanner.Err(); err != nil {
		return nil, err
	}
	if number == 0 {
		return nil, &LogError{1, "title", "", strconv.Quote(logTitle)}
	}
	return log, nil
}

func (l *Log) line(number int, text string) error {
	if count, ok := strings.CutPrefix(text, "lost "); ok {
		lost, err := strconv.ParseInt(count, 10, 64)
		if err != nil || lost < 0 {
			return &LogError{number, "bytes lost", clip(count), "a whole number"}
		}
		l.Lost += lost
		return nil
	}
	fields := strings.SplitN(text, " ", 3)
	if len(fields) != 3 {
		return &LogError{number, "entry", clip(text), "seconds, > or <, and a quoted string"}
	}
	at, err := time.ParseDuration(fields[0] + "s")
	if err != nil || strings.ContainsAny(fields[0], "hmuµn") {
		return &LogError{number, "time", clip(fields[0]), "seconds, as in 1.25"}
	}
	if fields[1] != string(rune(Sent)) && fields[1] != string(rune(Received)) {
		return &LogError{number, "direction", clip(fields[1]), "> (to the station) or < (from it)"}
	}
	carried, err := strconv.Unquote(fields[2])
	if err != nil || fields[2][0] != '"' || carried == "" {
		return &LogError{number, "bytes", clip(fields[2]), `a string in double quotes that is not empty, as in "*IDN?\n"`}
	}
	if len(l.Entries) > 0 && at < l.Entries[len(l.Entries)-1].Time {
		return &LogError{number, "time", fields[0], "not earlier than the entry before"}
	}
	l.Entries = append(l.Entries, Entry{Time: at, Direction: Direction(fields[1][0]), Bytes: []byte(carried)})
	return nil
}

// clip keeps an error short.
func clip(text string) string {
	if len(text) > startKept {
		return text[:startKept] + "…"
	}
	return text
}

// Carried returns all the bytes that went in one direction.
func (l *Log) Carried(d Direction) []byte {
	var all bytes.Buffer
	for _, e := range l.Entries {
		if e.Direction == d {
			all.Write(e.Bytes)
		}
	}
	return all.Bytes()
}
