package main

import (
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestShellWordQuotesOnlyWhereItNeedsTo(t *testing.T) {
	assert.Equal(t, "mine.station.toml", shellWord("mine.station.toml"))
	assert.Equal(t, "'my station.toml'", shellWord("my station.toml"))
	assert.Equal(t, "''", shellWord(""))
	assert.Equal(t, `'it'\''s'`, shellWord("it's"))
	assert.Equal(t, "'a*b'", shellWord("a*b"))
}

// The shell itself is the judge.
func TestAShellReadsAQuotedWordAsItWas(t *testing.T) {
	sh, err := exec.LookPath("sh")
	if err != nil {
		t.Skip("no POSIX shell here to compare with")
	}
	letters := []rune("ab '\"\\$`*?[]{}()<>|&;!~#=%\n\té")
	var words []string
	rapid.Check(t, func(t *rapid.T) {
		words = append(words, string(rapid.SliceOfN(rapid.SampledFrom(letters), 0, 8).Draw(t, "word")))
	})
	var script strings.Builder
	for _, w := range words {
		script.WriteString("printf '%s\\0' " + shellWord(w) + "\n")
	}
	cmd := exec.Command(sh)
	cmd.Stdin = strings.NewReader(script.String())
	out, err := cmd.Output()
	require.NoError(t, err)
	assert.Equal(t, words, strings.Split(strings.TrimSuffix(string(out), "\x00"), "\x00"))
}

func TestWrapKeepsEveryWordAndTheWidth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOf(rapid.StringMatching(`[a-zµ]{1,12}`)).Draw(t, "words")
		indent := rapid.IntRange(0, 20).Draw(t, "indent")
		s := screen{width: rapid.IntRange(1, 80).Draw(t, "width")}
		text := s.wrap(strings.Join(words, " "), indent)
		assert.Equal(t, strings.Join(words, " "), strings.Join(strings.Fields(text), " "))
		for i, line := range strings.Split(text, "\n") {
			if i > 0 {
				assert.True(t, strings.HasPrefix(line, strings.Repeat(" ", indent)))
				line = line[indent:]
			}
			assert.LessOrEqual(t, len([]rune(line)), max(20, s.width-indent))
		}
	})
}
