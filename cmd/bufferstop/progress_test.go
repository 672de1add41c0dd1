//go:build unix

package main

import (
	"bytes"
	"io"
	"os"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// onTerminal runs a command line with a terminal of so many columns as its standard output and error, and returns what
// the terminal got.
func onTerminal(t *testing.T, columns uint16, args ...string) string {
	t.Helper()
	ours, theirs, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo terminal here: %v", err)
	}
	defer ours.Close()
	require.NoError(t, pty.Setsize(theirs, &pty.Winsize{Rows: 24, Cols: columns}))
	got := make(chan string)
	go func() {
		var b bytes.Buffer
		_, _ = io.Copy(&b, ours) // ends with an error when the last one on the other side has closed
		got <- b.String()
	}()
	code := run(args, os.Stdin, theirs, theirs)
	assert.Equal(t, 0, code)
	require.NoError(t, theirs.Close())
	return <-got
}

func TestATerminalShowsProgressThatFitsAndIsErased(t *testing.T) {
	t.Setenv("TERM", "xterm")
	t.Setenv("NO_COLOR", "")
	const columns = 44
	text := onTerminal(t, columns, "run", "--requirement", "SIG-001", "--requirement", "PKT-001", "--out", t.TempDir())
	live := regexp.MustCompile(`\x1b\[2m(\d+ of 4 done[^\x1b\r\n]*)\x1b\[0m(\r\x1b\[K)?`).FindAllStringSubmatch(text, -1)
	require.Len(t, live, 4, text)
	for i, shown := range live {
		assert.True(t, strings.HasPrefix(shown[1], string(rune('0'+i))+" of 4 done"), shown[1])
		assert.Less(t, utf8.RuneCountInString(shown[1]), columns)
		assert.NotEmpty(t, shown[2], "the line is taken away before anything else is written")
	}
	assert.Contains(t, text, "\x1b[32mpass", "verdicts have colour on a terminal")
}

func TestNoColorIsObeyedOnATerminal(t *testing.T) {
	t.Setenv("TERM", "xterm")
	t.Setenv("NO_COLOR", "1")
	assert.NotContains(t, onTerminal(t, 80, "requirements"), "\x1b[")
	assert.Contains(t, onTerminal(t, 80, "requirements", "--color=always"), "\x1b[1mSIG-001")
}

func TestADumbTerminalGetsPlainLines(t *testing.T) {
	t.Setenv("TERM", "dumb")
	t.Setenv("NO_COLOR", "")
	text := onTerminal(t, 80, "run", "--requirement", "SIG-001", "--out", t.TempDir())
	assert.NotContains(t, text, "\x1b")
	assert.NotContains(t, text, "of 2 done")
}

func TestRequirementsFillTheWidthOfTheTerminal(t *testing.T) {
	t.Setenv("TERM", "xterm")
	t.Setenv("NO_COLOR", "1")
	for _, line := range strings.Split(onTerminal(t, 60, "requirements"), "\r\n") {
		// A single word may be longer than what is left beside the names.
		if utf8.RuneCountInString(line) > 60 {
			assert.NotContains(t, strings.TrimSpace(line[19:]), " ", line)
		}
	}
}
