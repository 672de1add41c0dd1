package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/signal"
	"bufferstop/harness/station"
)

func TestAMistakeSaysWhatWhereGotAndWanted(t *testing.T) {
	assert.Equal(t, "a, b: got c, wanted d", (&mistake{What: "a", Where: "b", Got: "c", Want: "d", Hint: "e"}).Error())
	assert.Equal(t, "a: got c", (&mistake{What: "a", Got: "c"}).Error())
	assert.Equal(t, "a, b: wanted d", (&mistake{What: "a", Where: "b", Want: "d"}).Error())
	assert.Equal(t, "a", (&mistake{What: "a"}).Error())
}

func TestExplainSaysEachErrorWithItsHintAndGivesTheCode(t *testing.T) {
	for name, c := range map[string]struct {
		err  error
		code int
		said string
	}{
		"nothing":     {nil, 0, ""},
		"silent exit": {exit{code: 4}, 4, ""},
		"fault":       {exit{3, errors.New("the rig is gone")}, 3, "bufferstop: the rig is gone\n"},
		"mistake":     {&mistake{What: "a", Hint: "b"}, 2, "bufferstop: a\nhint: b\n"},
		"several": {errors.Join(&mistake{What: "a", Hint: "b"}, errors.New("c")), 2,
			"bufferstop: a\nhint: b\nbufferstop: c\n"},
		"a reader that has had enough": {written(fmt.Errorf("write: %w", syscall.EPIPE)), 0, ""},
		"a full disk":                  {written(errors.New("no space left")), 3, "bufferstop: cannot write the output: no space left\n"},
	} {
		t.Run(name, func(t *testing.T) {
			var stderr bytes.Buffer
			assert.Equal(t, c.code, explain(c.err, &stderr))
			assert.Equal(t, c.said, stderr.String())
		})
	}
}

func TestAMistakeInACaptureNamesItsLineAndQuotesWhatIsThere(t *testing.T) {
	err := captureMistake("-", fmt.Errorf("x: %w", &signal.SyntaxError{Line: 7, What: "bad time", Got: "#\x1b[2J", Want: "a number"}))
	assert.EqualError(t, err, `bad time, standard input:7: got "#\x1b[2J", wanted a number`)
	assert.NoError(t, captureMistake("x.vcd", nil))
}

func TestEveryMistakeInAStationFileIsSaidWithItsPlace(t *testing.T) {
	var stderr bytes.Buffer
	code := explain(fileMistake(errors.Join(
		&station.FileError{File: "a.toml", Line: 3, Column: 5, What: "claims.tracks", Got: `"mian"`, Want: "main", Hint: "look"},
		&station.FileError{File: "a.toml", What: "name", Got: "no name", Want: "a name"},
		&os.PathError{Op: "open", Path: "b.toml", Err: os.ErrNotExist},
	)), &stderr)
	assert.Equal(t, 2, code)
	assert.Equal(t, `bufferstop: claims.tracks, a.toml:3:5: got "mian", wanted main
hint: look
bufferstop: name, a.toml: got no name, wanted a name
bufferstop: unreadable file, b.toml: got file does not exist, wanted a TOML file
`, stderr.String())
}

func TestACrashIsShortOnTheTerminalAndWholeInAFile(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	t.Setenv("TMP", dir)
	var stderr bytes.Buffer
	assert.Equal(t, 3, crash(errors.New("index out of range\nand more"), &stderr))
	assert.NotContains(t, stderr.String(), "goroutine")
	assert.Contains(t, stderr.String(), "not of the station: index out of range\n")
	traces, err := filepath.Glob(filepath.Join(dir, "bufferstop-trace-*.txt"))
	require.NoError(t, err)
	require.Len(t, traces, 1)
	assert.Contains(t, stderr.String(), traces[0])
	trace, err := os.ReadFile(traces[0])
	require.NoError(t, err)
	assert.Contains(t, string(trace), "goroutine")
	assert.Contains(t, string(trace), "and more")
}
