package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"bufferstop/harness/link"
)

// tapKept bounds what a tap holds of a station that talks without pause, in entries and in bytes of each.
const (
	tapKept  = 4000
	tapBytes = 1024
)

// A tap is a link that remembers what went over it until that is taken: what one write handed over, and what reads
// brought up to the end of a line or a pause.
type tap struct {
	link.Link
	clock   link.Clock
	entries []link.Entry
}

func (t *tap) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := t.Link.Read(ctx, p, timeout)
	t.keep(link.Received, p[:n])
	return n, err
}

func (t *tap) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := t.Link.Write(ctx, p, timeout)
	t.keep(link.Sent, p[:n])
	return n, err
}

// take returns what was kept and forgets it.
func (t *tap) take() []link.Entry {
	taken := t.entries
	t.entries = nil
	return taken
}

func (t *tap) keep(d link.Direction, p []byte) {
	now := t.clock.Now()
	for len(p) > 0 && len(t.entries) < tapKept {
		last := len(t.entries) - 1
		if last < 0 || d == link.Sent || !goesOn(t.entries[last], d, now) {
			t.entries = append(t.entries, link.Entry{Direction: d})
			last++
		}
		e := &t.entries[last]
		n := min(len(p), tapBytes-len(e.Bytes))
		for i, b := range p[:n] {
			if b == '\n' {
				n = i + 1
				break
			}
		}
		e.Bytes, e.Time, p = append(e.Bytes, p[:n]...), now, p[n:]
	}
}

// goesOn reports whether bytes that go d now belong to the entry.
func goesOn(e link.Entry, d link.Direction, now time.Duration) bool {
	const together = 5 * time.Millisecond // five characters at 9600 baud; our own choice
	return e.Direction == d && now-e.Time <= together && len(e.Bytes) < tapBytes && e.Bytes[len(e.Bytes)-1] != '\n'
}

// quoteBytes shows bytes as raw takes them: what is no printable ASCII as \xNN or by its letter, also where some of it
// happens to look like a letter of another alphabet.
func quoteBytes(text []byte) string {
	letters := map[byte]string{'\n': `\n`, '\r': `\r`, '\t': `\t`, '"': `\"`, '\\': `\\`}
	var b strings.Builder
	b.WriteByte('"')
	for _, c := range text {
		switch letter := letters[c]; {
		case letter != "":
			b.WriteString(letter)
		case c >= ' ' && c <= '~':
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, `\x%02x`, c)
		}
	}
	b.WriteByte('"')
	return b.String()
}
