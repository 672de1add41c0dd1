package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/station"
	"bufferstop/rigs"
	"bufferstop/rigs/bench"
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

// TestTheFilesOfTheReadmeAreRight reads the files for a real station that the README shows, and the station file in the
// dialect that one begins with.
func TestTheFilesOfTheReadmeAreRight(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	dialect, err := rigs.Files.ReadFile(newDialectFile)
	require.NoError(t, err)
	_, guide, found := strings.Cut(string(readme), "## With a real station")
	require.True(t, found)
	guide, _, _ = strings.Cut(guide, "\n## ")
	files := regexp.MustCompile("(?s)```toml\n(.*?)```").FindAllStringSubmatch(guide, -1)
	require.Len(t, files, 3, "the station file, the rig file, and the table that it has with a probe")
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "my.dialect.toml"), dialect, 0o600))
	name := filepath.Join(dir, "my.station.toml")
	comment := regexp.MustCompile(`(?m)^#     (.*)$`).FindAllStringSubmatch(string(dialect), -1)
	inDialect := ""
	for _, line := range comment {
		inDialect += line[1] + "\n"
	}
	for _, text := range []string{files[0][1], inDialect} {
		require.NoError(t, os.WriteFile(name, []byte(text), 0o600))
		file, err := station.LoadFile(name)
		require.NoError(t, err, text)
		assert.Equal(t, "my station", file.Name)
		assert.NotEmpty(t, file.Link)
	}
	for _, text := range []string{files[1][1], files[1][1] + files[2][1]} {
		rig, err := bench.Parse(filepath.Join(dir, "bench.rig.toml"), []byte(text))
		require.NoError(t, err, text)
		assert.Equal(t, "my.station.toml", rig.Station)
	}
}
