package adapters_test

import (
	"context"
	"os"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// transcript is the exchange that README.md shows.
func transcript(t *testing.T) (lines []string) {
	t.Helper()
	data, err := os.ReadFile("README.md")
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(data), "```\n> ")
	require.True(t, found, "README.md has no transcript")
	shown, _, found := strings.Cut(rest, "```")
	require.True(t, found)
	for line := range strings.Lines("> " + shown) {
		lines = append(lines, strings.TrimSuffix(line, "\n"))
	}
	return lines
}

func TestThePageNamesEveryOperationAndItsFileIsOne(t *testing.T) {
	page, err := os.ReadFile("README.md")
	require.NoError(t, err)
	for _, o := range station.Operations() {
		assert.Contains(t, string(page), "`"+string(o)+"`")
	}
	_, rest, _ := strings.Cut(string(page), "```toml\n")
	file, _, found := strings.Cut(rest, "```")
	require.True(t, found)
	f, err := station.ParseFile("README.md", []byte(file+"[claims]\ntracks = [\"main\"]\n"), nil)
	require.NoError(t, err)
	assert.Equal(t, 20*time.Second, f.Adapter.Timeout(station.ReadCV))
	assert.Equal(t, 10*time.Second, f.Adapter.Timeout(station.WriteCV))
	assert.Equal(t, 3*time.Second, f.Adapter.Timeout(station.Reset))
	assert.Equal(t, 2*time.Second, f.Adapter.Timeout(station.Stop))
}

func TestAdaptersSayWhatTheTranscriptShows(t *testing.T) {
	lines := transcript(t)
	require.Len(t, lines, 20)
	each(t, func(t *testing.T, command []string) {
		address, end := serve(t, hurried(t, newRig(t, true)))
		defer end()
		a, err := link.OpenProcess(t.Context(), link.ProcessConfig{Command: append(command[:len(command):len(command)], "tcp://"+address)})
		require.NoError(t, err)
		defer func() { require.NoError(t, a.Close()) }()
		in := link.NewLineReader(a, link.NewWallClock(), "\n", 65536)
		for _, line := range lines {
			text := []byte(line[2:])
			switch line[:2] {
			case "> ":
				_, err := a.Write(t.Context(), append(text, '\n'), 10*time.Second)
				require.NoError(t, err)
			case "< ":
				ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
				said, err := in.ReadLine(ctx, 30*time.Second)
				cancel()
				require.NoError(t, err, line)
				assert.JSONEq(t, string(text), string(said.Text))
			default:
				t.Fatalf("neither a question nor an answer: %q", line)
			}
		}
	})
}
