//go:build simavr

package claims

import (
	"testing"

	protocol "bufferstop/harness/probe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What has begun before the 32 bits of the clock are over ends behind them as it should: a step of the load that was planned before,
// a short by its own time and by the silence of the host, the times of edges, and that of the end of a SYNC.
func TestOverTheEndOfThe32BitsOfTheClockEverythingEndsAsItShould(t *testing.T) {
	for _, mcu := range []string{two, one} {
		for _, before := range []uint64{1, 30, 70} { // ms
			b := newBoard(t, &wrapping, mcu)
			id := b.hello.Tracks[0].ID
			alive := b.keepAlive()
			b.start(1000, 500)
			zero := b.zero()
			require.InDelta(t, wrap, zero, float64(5*millisecond), "the start takes some milliseconds until the clock goes")
			wrap := uint64(zero)
			for b.m.Cycle() < wrap-before*millisecond {
				alive(b.m.Cycle())
				b.run(b.m.Cycle() + millisecond/4)
			}
			at := b.m.Cycle() + 80*millisecond
			b.do(&protocol.Load{Track: id, At: uint32(int64(at) - zero), Count: 1, Steps: [protocol.MaxSteps]protocol.Step{{Level: 7, Hold: 5000}}})
			b.do(protocol.Short{Track: id, On: true, MostMs: 75})
			level, edges := protocol.CodePositive, []int64{}
			if b.level[0] == level {
				level = protocol.CodeNegative
			}
			have := len(b.told[0])
			for b.m.Cycle() < wrap+60*millisecond {
				alive(b.m.Cycle())
				edge := b.m.Cycle() + 100*microsecond
				b.rails(edge, 0, level)
				edges = append(edges, int64(edge)-zero)
				level ^= 3
				b.run(b.m.Cycle() + millisecond/4)
			}
			b.run(b.m.Cycle() + 5*millisecond)
			told := b.told[0][have:]
			require.Len(t, told, len(edges))
			for k := range edges {
				require.Equal(t, edges[k], told[k].at, "edge %d", k)
			}
			got := b.ask(protocol.AskSync{Token: 1}).(protocol.Sync)
			assert.InDelta(t, int64(b.line)-zero, got.Tick, float64(20*microsecond))
			for b.m.Cycle() < at+25*millisecond {
				alive(b.m.Cycle())
				b.run(b.m.Cycle() + millisecond)
			}
			short, load := b.closed(0), b.ladder(0)
			require.Len(t, short, 2)
			assert.InDelta(t, 75*millisecond, short[1].at-short[0].at, float64(millisecond))
			require.Len(t, load, 2)
			assert.InDelta(t, at, load[0].at, float64(stepLate))
			assert.InDelta(t, 20*millisecond, load[1].at-load[0].at, float64(stepLate))
			b.lossless()
		}
		// And silent over it.
		for _, before := range []uint64{10, 90} {
			b := newBoard(t, &wrapping, mcu)
			b.start(1000, 0)
			wrap := uint64(b.zero())
			b.run(wrap - before*millisecond)
			b.do(protocol.Short{Track: b.hello.Tracks[0].ID, On: true, MostMs: 10_000})
			last := b.m.Cycle()
			b.run(last + 130*millisecond)
			short := b.closed(0)
			require.Len(t, short, 2)
			assert.InDelta(t, 99*millisecond, short[1].at-short[0].at, float64(2*millisecond))
		}
	}
}
