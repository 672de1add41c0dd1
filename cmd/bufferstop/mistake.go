package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime"
	"runtime/debug"
	"strings"
	"syscall"

	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
)

// A mistake is a fault of usage or configuration, the user's to mend. Empty parts are left out of its text.
type mistake struct {
	What  string // what is wrong
	Where string // the flag, the file and line, or the verb
	Got   string // what was there
	Want  string // what was wanted
	Hint  string // what to do about it
}

// Error is the first line; the hint is the second.
func (m *mistake) Error() string {
	text := m.What
	if m.Where != "" {
		text += ", " + m.Where
	}
	switch {
	case m.Got != "" && m.Want != "":
		text += ": got " + m.Got + ", wanted " + m.Want
	case m.Got != "":
		text += ": got " + m.Got
	case m.Want != "":
		text += ": wanted " + m.Want
	}
	return text
}

// An exit ends the program with a code of its own. Without an error all is said already.
type exit struct {
	code int
	err  error
}

func (e exit) Error() string { return fmt.Sprint("exit ", e.code) }
func (e exit) Unwrap() error { return e.err }

// explain says on stderr what went wrong, if anything, and returns the exit code. What is not known to be a fault of ours
// or of the rig is the user's: a name, a file or a value.
func explain(err error, stderr io.Writer) int {
	if err == nil || closedPipe(err) {
		return verdict.ExitConforms
	}
	code := verdict.ExitUsage
	var e exit
	if errors.As(err, &e) {
		code, err = e.code, e.err
	}
	if err == nil {
		return code
	}
	for _, one := range each(err) {
		fmt.Fprintf(stderr, "bufferstop: %v\n", one)
		var m *mistake
		if errors.As(one, &m) && m.Hint != "" {
			fmt.Fprintf(stderr, "hint: %s\n", m.Hint)
		}
	}
	return code
}

// each takes joined errors apart.
func each(err error) []error {
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return []error{err}
	}
	var all []error
	for _, one := range joined.Unwrap() {
		all = append(all, each(one)...)
	}
	return all
}

// captureMistake words what is wrong with a capture, at its line. A nil error stays nil.
func captureMistake(name string, err error) error {
	if name == "-" {
		name = "standard input"
	}
	var syntax *signal.SyntaxError
	var choice *signal.ChoiceError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &syntax):
		m := &mistake{What: syntax.What, Where: fmt.Sprintf("%s:%d", name, syntax.Line), Want: syntax.Want, Hint: syntax.Hint}
		if syntax.Got != "" {
			m.Got = fmt.Sprintf("%.60q", syntax.Got)
		}
		return m
	case errors.As(err, &choice):
		return choiceMistake(name, choice)
	}
	return &mistake{What: "unreadable capture", Where: name, Got: reason(err), Want: "a VCD file, which may be compressed with gzip",
		Hint: "bufferstop decode --help tells more"}
}

// choiceMistake words that it is not clear which signal of a capture is the track.
func choiceMistake(name string, c *signal.ChoiceError) *mistake {
	const most = 12
	m := &mistake{What: "unknown signal", Where: name, Got: "--signal " + c.Name, Want: "one of its signals",
		Hint: "each wire is one track; choose it with --signal NAME"}
	if len(c.Signals) <= most {
		m.Want = oneOf(c.Signals)
	}
	switch {
	case len(c.Signals) == 0:
		m.What, m.Got, m.Want, m.Hint = "no signal in the capture", "", "one wire at least", ""
	case c.Ambiguous:
		m.What, m.Hint = "ambiguous signal", "give the name with its scopes"
	case c.Name == "":
		m.What, m.Got = "several signals", "no --signal"
	default:
		m.Hint = didYouMean(c.Name, c.Signals, m.Hint)
	}
	return m
}

// fileMistake words what is wrong with a rig or station file, at its line. There may be several things.
func fileMistake(err error) error {
	var all []error
	for _, one := range each(err) {
		var f *station.FileError
		var unreadable *fs.PathError
		switch {
		case errors.As(one, &f):
			where := f.File
			if f.Line > 0 {
				where = fmt.Sprintf("%s:%d:%d", f.File, f.Line, f.Column)
			}
			one = &mistake{What: f.What, Where: where, Got: f.Got, Want: f.Want, Hint: f.Hint}
		case errors.As(one, &unreadable):
			one = &mistake{What: "unreadable file", Where: unreadable.Path, Got: reason(one), Want: "a TOML file"}
		}
		all = append(all, one)
	}
	return errors.Join(all...)
}

// reason is what the system says about a file, without the name of the file.
func reason(err error) string {
	var unreadable *fs.PathError
	if errors.As(err, &unreadable) {
		return unreadable.Err.Error()
	}
	return err.Error()
}

// written makes a failure to write our output the fault that it is. A nil error stays nil.
func written(err error) error {
	if err == nil {
		return nil
	}
	return exit{verdict.ExitFault, fmt.Errorf("cannot write the output: %w", err)}
}

// closedPipe reports whether err says that nobody reads our output any more, as when `head` has had enough. That is no
// error of anybody's.
func closedPipe(err error) bool {
	const noData = syscall.Errno(232) // ERROR_NO_DATA of Windows, "the pipe is being closed"
	return errors.Is(err, syscall.EPIPE) || errors.Is(err, io.ErrClosedPipe) ||
		runtime.GOOS == "windows" && errors.Is(err, noData)
}

// crash says that the harness failed, without the stack trace, which goes to a file.
func crash(p any, stderr io.Writer) int {
	trace := fmt.Sprintf("%v\n\n%s", p, debug.Stack())
	where := "the stack trace could not be written"
	if file, err := os.CreateTemp("", "bufferstop-trace-*.txt"); err == nil {
		if _, err = file.WriteString(trace); err == nil {
			where = "the stack trace is in " + file.Name()
		}
		file.Close()
	}
	what, _, _ := strings.Cut(fmt.Sprint(p), "\n")
	fmt.Fprintf(stderr, "bufferstop: fault of the harness, not of the station: %s\nhint: %s; please report it\n", what, where)
	return verdict.ExitFault
}

func quote(text string) string { return fmt.Sprintf("%q", text) }

// oneOf words a short list to choose from.
func oneOf(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}
