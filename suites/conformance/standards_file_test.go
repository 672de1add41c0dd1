package conformance

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// typed is what was typed from the standards: rows by name, and which of them were compared with something.
type typed struct {
	rows map[string]string // bits with spaces between bytes
	used map[string]bool
}

// readTyped reads testdata/standards.txt. Each row has to have a source.
func readTyped(t *testing.T) *typed {
	t.Helper()
	data, err := os.ReadFile("testdata/standards.txt")
	require.NoError(t, err)
	s := &typed{rows: map[string]string{}, used: map[string]bool{}}
	for n, line := range strings.Split(string(data), "\n") {
		if line = strings.TrimSpace(line); line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		name, rest, found := strings.Cut(line, " = ")
		require.True(t, found, "line %d: no name", n+1)
		bits, source, found := strings.Cut(rest, " | ")
		require.True(t, found && source != "", "line %d: no source", n+1)
		require.Empty(t, strings.Trim(bits, "01ABCDEKNOPSVX "), "line %d", n+1)
		require.NotContains(t, s.rows, name, "line %d", n+1)
		s.rows[name] = bits
	}
	return s
}

// has reports whether there is a row of the name.
func (s *typed) has(name string) bool {
	_, there := s.rows[name]
	return there
}

// bits is the row of a name, its fields filled: each letter stands for as many bits of its value as there are of it.
func (s *typed) bits(t *testing.T, name string, fields map[rune]int) string {
	t.Helper()
	row, found := s.rows[name]
	require.True(t, found, "nothing of the name %q was typed from a standard", name)
	s.used[name] = true
	left := map[rune]int{}
	for _, c := range row {
		left[c]++
	}
	return strings.Map(func(c rune) rune {
		if c == '0' || c == '1' || c == ' ' {
			return c
		}
		value, known := fields[c]
		require.True(t, known, "%s: no value for %c", name, c)
		require.Less(t, value, 1<<strings.Count(row, string(c)), "%s: %c", name, c)
		left[c]--
		return rune('0' + value>>left[c]&1)
	}, row)
}

// packet writes bytes as a packet is printed in S-9.2 B, from its start bit on, and puts the error byte behind them: in each
// column the sum of the bits above, without carry.
func packet(bytes string) string {
	all := strings.Fields(bytes)
	sum := []byte("00000000")
	for _, b := range all {
		for i := range sum {
			if b[i] == '1' {
				sum[i] ^= 1
			}
		}
	}
	return "0 " + strings.Join(append(all, string(sum)), " 0 ") + " 1"
}
