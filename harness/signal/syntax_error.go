package signal

import (
	"fmt"
	"strings"
)

// A SyntaxError is a place in a capture file that cannot be read.
type SyntaxError struct {
	Line int    // counted from 1
	What string // what is wrong
	Got  string // what stands there, if anything
	Want string // what should stand there, if known
	Hint string // what to do about it, if known

	cause error
}

// Unwrap gives the error of the stream beneath, if that was the cause.
func (e *SyntaxError) Unwrap() error { return e.cause }

// Error says where, what, got, wanted and a hint, in that order, as far as they are known.
func (e *SyntaxError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "line %d: %s", e.Line, e.What)
	if e.Got != "" {
		fmt.Fprintf(&b, ": got %s", shorten(e.Got))
	}
	if e.Want != "" {
		fmt.Fprintf(&b, ", want %s", e.Want)
	}
	if e.Hint != "" {
		fmt.Fprintf(&b, " (%s)", e.Hint)
	}
	return b.String()
}

// shorten quotes a piece of a file, not more of it than helps.
func shorten(s string) string {
	const most = 40
	if len(s) > most {
		return fmt.Sprintf("%q…", s[:most])
	}
	return fmt.Sprintf("%q", s)
}
