//go:build simavr

package firmware

import (
	"bufio"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"bufferstop/harness/signal"
	"bufferstop/rigs/processor"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The times of the edges are those of the simulator's own trace, cycle for cycle: simavr 1.6 writes a VCD file of the pins in
// units of 10 ns, of which a cycle at 16 MHz takes 6.25, so that every cycle has a number of its own. (A pin that changes twice in
// a cycle has the second change a unit later there.)
func TestEdgesHaveTheTimesOfTheSimulatorsOwnTrace(t *testing.T) {
	m := referenceMachine(t, false)
	outputs := referenceFile(t).Outputs
	var traced []processor.Traced
	for i := range outputs {
		for _, p := range outputs[i].wired() {
			if p.pin.Port != 0 {
				traced = append(traced, processor.Traced{Name: p.key + strconv.Itoa(i), Pin: processor.Pin{Port: p.pin.Port, Bit: p.pin.Bit}})
			}
		}
	}
	trace := filepath.Join(t.TempDir(), "pins.vcd")
	require.NoError(t, m.Trace(trace, traced))
	board := &Board{Machine: m, pins: powered(outputs)}
	const second, character = 16_000_000, 16_000_000 / 10_000
	var seen [2][]Edge
	// Nobody answers the read, so the programming track goes on and off; later both currents are too high and the main track
	// trips and tries again.
	input := "TRAC:POW MAIN,ON\nCV:READ? 29\n"
	for m.Cycle() < 4*second {
		next := uint64(4 * second)
		if input != "" {
			next = m.Cycle() + character
		}
		switch m.Run(next, false) {
		case processor.Converting:
			m.Converted(uint32(m.Cycle() / (3 * second) * 4000))
		case processor.AtTime:
			if input != "" && m.Cycle() > second/2 {
				m.Receive(m.Cycle(), input[0])
				input = input[1:]
			}
		}
		m.SentBytes(nil)
		for _, e := range board.Edges(nil) {
			seen[e.Output] = append(seen[e.Output], e)
		}
	}
	m.Free()
	for i, want := range levelsOf(t, trace) {
		assert.Greater(t, len(want), 5_000, "output %d", i)
		for k := range min(len(want), len(seen[i])) {
			require.Equal(t, want[k], seen[i][k], "edge %d of output %d", k, i)
		}
		require.Len(t, seen[i], len(want), "output %d", i)
	}
}

// levelsOf works out from a trace of the pins when the outputs changed.
func levelsOf(t *testing.T, name string) (outputs [2][]Edge) {
	file, err := os.Open(name)
	require.NoError(t, err)
	defer file.Close()
	names := map[string]string{}
	pins := map[string]bool{}
	level := [2]signal.Level{}
	var at uint64
	// All changes of one instant count together.
	look := func() {
		for i := range outputs {
			now := signal.Off
			number := strconv.Itoa(i)
			if pins["enable"+number] {
				now = signal.Negative
				if pins["direction"+number] {
					now = signal.Positive
				}
			}
			if now != level[i] {
				level[i] = now
				outputs[i] = append(outputs[i], Edge{(at*10*16 + 500) / 1000, i, now})
			}
		}
	}
	scanner := bufio.NewScanner(file)
	for scanner.Scan() {
		switch text := scanner.Text(); {
		case strings.HasPrefix(text, "$var"):
			fields := strings.Fields(text)
			names[fields[3]] = fields[4]
		case strings.HasPrefix(text, "$"):
		case strings.HasPrefix(text, "#"):
			look()
			at, err = strconv.ParseUint(text[1:], 10, 64)
			require.NoError(t, err)
		case text != "":
			pins[names[text[1:]]] = text[0] == '1'
		}
	}
	look()
	require.NoError(t, scanner.Err())
	return outputs
}
