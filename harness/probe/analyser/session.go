package analyser

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/link"
)

// Program is the one that speaks with the analysers.
const Program = "sigrok-cli"

// ErrNoProgram says that sigrok-cli is not installed.
var ErrNoProgram = errors.New(Program + " is not installed")

// find returns the command that runs sigrok-cli.
func find(command []string) ([]string, error) {
	if len(command) > 0 {
		return command, nil
	}
	path, err := exec.LookPath(Program)
	if err != nil {
		return nil, fmt.Errorf("analyser: %w (hint: Debian's package %s; it has to be in the PATH)", ErrNoProgram, Program)
	}
	return []string{path}, nil
}

// A Session is what sigrok-cli tells of samples.
type Session struct {
	Rate  int64 // samples per second
	Bytes int   // of one sample
	// Channels are the names of the logic channels; the place of each is its bit.
	Channels []string
}

// ParseSession reads what sigrok-cli --show prints of a session file.
func ParseSession(text string) (Session, error) {
	var s Session
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\r\n")
		if name, ok := strings.CutPrefix(line, "- "); ok {
			if name, ok := strings.CutSuffix(name, ": logic"); ok {
				s.Channels = append(s.Channels, name)
			}
			continue
		}
		key, value, _ := strings.Cut(line, ": ")
		var err error
		switch key {
		case "Samplerate":
			s.Rate, err = strconv.ParseInt(value, 10, 64)
		case "Logic unitsize":
			s.Bytes, err = strconv.Atoi(value)
		}
		if err != nil {
			return Session{}, fmt.Errorf("%s --show: %s: got %+q, want a number", Program, key, value)
		}
	}
	switch {
	case s.Bytes == 0 || len(s.Channels) == 0:
		return Session{}, fmt.Errorf("%s --show: got no logic samples, want some", Program)
	case s.Rate == 0:
		return Session{}, fmt.Errorf("%s --show: got no sample rate, want one", Program)
	case s.Rate < 0 || s.Rate > fastest:
		return Session{}, fmt.Errorf("%s --show: a sample rate of %d Hz, want 1 to %d", Program, s.Rate, fastest)
	case s.Bytes < 1 || s.Bytes > longestSample:
		return Session{}, fmt.Errorf("%s --show: samples of %d bytes, want 1 to %d", Program, s.Bytes, longestSample)
	}
	return s, nil
}

// Layout says how the samples of the session are read as the tracks. It names a channel that is not there.
func (s Session) Layout(tracks []Channels, offAfter time.Duration) (Layout, error) {
	l := Layout{Rate: s.Rate, Bytes: s.Bytes, OffAfter: offAfter}
	var missing string
	bit := func(name string) int {
		if name == "" {
			return None
		}
		for i, have := range s.Channels {
			if have == name && i < 8*s.Bytes {
				return i
			}
		}
		missing = name
		return None
	}
	for _, t := range tracks {
		l.Pins = append(l.Pins, Pins{bit(t.Sign), bit(t.Absent), bit(t.Positive), bit(t.Negative), t.Low})
		if missing != "" {
			return Layout{}, fmt.Errorf("channel of track %s: got %+q, want one of %s", trackNames[t.Track], missing,
				strconv.QuoteToASCII(strings.Join(s.Channels, " ")))
		}
	}
	return l, nil
}

// listed is how sigrok-cli --show lists the channels of a device.
var listed = regexp.MustCompile(`(?m)^.* with (\d+) channels?: (.*?)\r?$`)

// enough returns the channels to sample so that the wanted ones are at their own bits: all up to the last of them. Of others
// left out between, some drivers keep the places and some do not (the demo driver of libsigrok 0.5.2 does not).
func enough(shown string, wanted []string) ([]string, error) {
	m := listed.FindStringSubmatch(shown)
	if m == nil {
		return nil, fmt.Errorf("%s --show: got no list of channels, want one", Program)
	}
	all := strings.Fields(m[2])
	if strconv.Itoa(len(all)) != m[1] {
		return nil, fmt.Errorf("%s --show: got %d names of %s channels, want as many: names with spaces in them cannot be told apart", Program, len(all), m[1])
	}
	last := -1
	for _, name := range wanted {
		at := slices.Index(all, name)
		if at < 0 {
			return nil, fmt.Errorf("channel: got %+q, want one of %s", name, strconv.QuoteToASCII(m[2]))
		}
		last = max(last, at)
	}
	return all[:last+1], nil
}

const (
	askLimit   = 20 * time.Second // a driver may have to load firmware into its device first; our own choice
	mostAnswer = 64 << 10
	readSlice  = 100 * time.Millisecond
)

// Show has sigrok-cli describe a session file. command runs sigrok-cli; nil looks for it in the PATH.
func Show(ctx context.Context, command []string, path string) (Session, error) {
	command, err := find(command)
	if err != nil {
		return Session{}, err
	}
	text, err := ask(ctx, append(command[:len(command):len(command)], "--input-file", path, "--show"))
	if err != nil {
		return Session{}, err
	}
	return ParseSession(text)
}

// ask runs a program to its end and returns what it said. It leaves no process behind, however it ends.
func ask(ctx context.Context, command []string) (text string, err error) {
	ctx, cancel := context.WithTimeout(ctx, askLimit)
	defer cancel()
	program, err := link.OpenProcess(ctx, link.ProcessConfig{Command: command, Grace: time.Millisecond})
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, program.Close()) }()
	var said []byte
	buf := make([]byte, 4096)
	for {
		n, err := program.Read(ctx, buf, readSlice)
		said = append(said, buf[:n]...)
		switch {
		case len(said) > mostAnswer:
			return "", fmt.Errorf("%s says more than %d bytes where some lines are wanted", Program, mostAnswer)
		case errors.Is(err, link.ErrClosed) && strings.Contains(err.Error(), "exit status 0"):
			return string(said), nil
		case errors.Is(err, context.DeadlineExceeded):
			return "", fmt.Errorf("%s did not answer within %v", Program, askLimit)
		case err != nil && !errors.Is(err, link.ErrTimeout) && !errors.Is(err, io.EOF):
			return "", err
		}
	}
}
