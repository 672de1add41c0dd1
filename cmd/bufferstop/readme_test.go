package main

import (
	"bytes"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// console finds the transcripts. A command may be given its input as a shell takes it, between <<end and end.
var console = regexp.MustCompile("(?s)```console\n\\$ bufferstop ([^\n]*?)(?: <<end\n(.*?)\nend)?\n(.*?)```")

// TestTheTranscriptsOfTheReadmeAreWhatAUserSees runs each command that the README shows. A line of three dots stands for
// any lines.
func TestTheTranscriptsOfTheReadmeAreWhatAUserSees(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	shown := console.FindAllSubmatch(readme, -1)
	require.NotEmpty(t, shown)
	t.Chdir(t.TempDir())
	for _, transcript := range shown {
		var out, errs bytes.Buffer
		run(strings.Fields(string(transcript[1])), bytes.NewReader(transcript[2]), &out, &errs)
		pattern := regexp.QuoteMeta(string(transcript[3]))
		pattern = strings.ReplaceAll(pattern, `\.\.\.`+"\n", "(?s:.*)")
		assert.Regexp(t, "^"+pattern+"$", out.String(), "%s", errs.String())
	}
}
