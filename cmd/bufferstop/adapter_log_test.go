package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/report"
)

func TestWhatAnAdapterSaysIsMarkedAndHarmless(t *testing.T) {
	var out bytes.Buffer
	_, err := newAdapterLog(&out, false).Write([]byte("one\x1b[2J\ntwo\n"))
	require.NoError(t, err)
	assert.Equal(t, "adapter: one\\x1b[2J\nadapter: two\n", out.String())
	out.Reset()
	_, err = newAdapterLog(&out, true).Write([]byte("one\n"))
	require.NoError(t, err)
	assert.Equal(t, report.Erase+"adapter: one\n", out.String(), "it does not stand behind the line of the progress")
}

func TestWhatIsKeptOfAnAdapterIsBoundedAndHasNoHole(t *testing.T) {
	var out bytes.Buffer
	l := newAdapterLog(&out, false)
	line := []byte(strings.Repeat("x", 1023) + "\n")
	for range adapterLogBytes/len(line) - 1 {
		_, _ = l.Write(line)
	}
	_, _ = l.Write(append(line, line...))
	_, _ = l.Write([]byte("short\n"))
	text := string(l.text())
	assert.Len(t, text, adapterLogBytes-len(line)+len("... and 2054 bytes more\n"))
	assert.True(t, strings.HasSuffix(text, "\n... and 2054 bytes more\n"))
	assert.True(t, strings.HasSuffix(out.String(), "\nadapter: short\n"), "it is shown all the same")
}
