//go:build simavr

package claims

import (
	"bufio"
	"os"
	"strconv"
	"strings"
	"testing"

	protocol "bufferstop/harness/probe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// compare compares what the probe told with the trace of its pins.
func compare(t *testing.T, b *board, trace string) {
	t.Helper()
	wants, exact := levelsOf(t, trace, len(b.tracks))
	offset := wants[0][0].at - b.told[0][0].at
	coincided, at := 0, map[int64]bool{}
	for i, want := range wants {
		got := b.told[i]
		require.Equal(t, len(want), len(got), "edges of track %d", i)
		worst, least := int64(-1000), int64(1000)
		for k, w := range want {
			g := got[k]
			require.Equal(t, w.level, g.level, "edge %d of track %d at cycle %d", k, i, w.at)
			error := g.at + offset - w.at
			if exact[i][k] {
				require.Zero(t, error, "edge %d of track %d at cycle %d to level %d", k, i, w.at, w.level)
			} else {
				worst, least = max(worst, error), min(least, error)
			}
			if i == 0 {
				at[w.at] = true
			} else if at[w.at] {
				coincided++
			}
		}
		assert.LessOrEqual(t, worst, int64(late), "ticks by which an edge of ABSENT was told late")
		assert.GreaterOrEqual(t, least, int64(0), "ticks by which an edge of ABSENT was told late")
		t.Logf("track %d: %d edges, those of ABSENT %d to %d ticks late", i, len(want), least, worst)
	}
	if len(wants) == 2 {
		assert.Greater(t, coincided, 100, "edges of the two tracks at the same cycle")
		t.Logf("%d edges coincided", coincided)
	}
}

// levelsOf works out from a trace of the pins when tracks changed, and whether the change was one of SIGN. simavr 1.6 writes times in
// units of 10 ns, of which a cycle at 16 MHz takes 6.25, so that every cycle has a number of its own. (A pin that changes when another does
// has its change a unit later there.)
func levelsOf(t *testing.T, name string, tracks int) (edges [][]seen, exact [][]bool) {
	file, err := os.Open(name)
	require.NoError(t, err)
	defer file.Close()
	edges, exact = make([][]seen, tracks), make([][]bool, tracks)
	names := map[string]string{}
	pins := map[string]bool{}
	level := make([]protocol.Code, tracks)
	sign := make([]bool, tracks)
	started := false
	var at uint64
	look := func() {
		for i := range tracks {
			number := strconv.Itoa(i)
			positive := pins["sign"+number]
			now := protocol.CodeOff
			if !pins["absent"+number] {
				now = protocol.CodeNegative
				if positive {
					now = protocol.CodePositive
				}
			}
			if now != level[i] && started {
				edges[i] = append(edges[i], seen{int64(at*160+500) / 1000, now})
				exact[i] = append(exact[i], positive != sign[i])
			}
			level[i], sign[i] = now, positive
		}
	}
	cycle := func(at uint64) uint64 { return (at*160 + 500) / 1000 }
	scanner := bufio.NewScanner(file)
	for scanner.Scan() {
		switch text := scanner.Text(); {
		case strings.HasPrefix(text, "$var"):
			fields := strings.Fields(text)
			names[fields[3]] = fields[4]
		case strings.HasPrefix(text, "$"):
		case strings.HasPrefix(text, "#"):
			next, err := strconv.ParseUint(text[1:], 10, 64)
			require.NoError(t, err)
			if cycle(next) == cycle(at) {
				continue // what changes in one cycle counts together
			}
			look()
			started = true
			at = next
		case text != "":
			pins[names[text[1:]]] = text[0] == '1'
		}
	}
	look()
	require.NoError(t, scanner.Err())
	return edges, exact
}
