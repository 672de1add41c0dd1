package simulated

import (
	"fmt"
	"testing"
	"time"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What an unusual station sends is legal: halves and zeros by S-9.1 A, Table 1 (2020), packets within 30 ms by S-9.2 C (July 2004), and no
// locomotive waits for more than two rounds.
func TestAnUnusualStationStretchesAndStrewsWithinTheLimits(t *testing.T) {
	stretched, turned := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed"), Habit: "unusual"}, true)
		b.wait(b.settings.bootTime)
		b.do("TRAC:POW MAIN,ON")
		const count = 7
		for a := 1; a <= count; a++ {
			b.do(fmt.Sprintf("LOCO:SPE %d,10,FORW,128", a*100))
		}
		require.Equal(t, "1", b.ask("*OPC?"))
		b.wait(100 * time.Millisecond)
		b.main.clear()
		b.wait(2 * time.Second)
		require.Empty(t, b.main.unusable)

		s := b.main.receiver.Statistics()
		assert.GreaterOrEqual(t, time.Duration(s.OneHalf.Min), 55*time.Microsecond)
		assert.LessOrEqual(t, time.Duration(s.OneHalf.Max), 61*time.Microsecond)
		assert.LessOrEqual(t, time.Duration(s.OneDifference.Max), 3*time.Microsecond)
		assert.GreaterOrEqual(t, time.Duration(s.ZeroHalf.Min), 95*time.Microsecond)
		assert.LessOrEqual(t, time.Duration(s.ZeroTotal.Max), 12*time.Millisecond)
		if time.Duration(s.ZeroHalf.Max) > 260*time.Microsecond {
			stretched++
		}
		idles, order := 0, []dcc.Address(nil)
		for i, p := range b.main.packets {
			require.Equal(t, 0, int(p.Fault))
			if i > 0 {
				assert.LessOrEqual(t, p.Start-b.main.packets[i-1].Start, 30*time.Millisecond)
			}
			if p.Bytes.IsIdle() {
				idles++
			}
			if speed, ok := dcc.Decode(p.Bytes).(dcc.Speed); ok {
				order = append(order, speed.Address)
			}
		}
		assert.Positive(t, idles, "idle packets are strewn in")
		last := map[dcc.Address]int{}
		for i, a := range order {
			assert.LessOrEqual(t, i-last[a], 2*count)
			last[a] = i
			if i > 0 && i+count < len(order) && order[i] != order[i+count] {
				turned++
			}
		}
	})
	assert.Positive(t, stretched, "of some station zeros are stretched")
	assert.Positive(t, turned, "of some station the order of a round is another")
}
