//go:build simavr

package claims

import (
	"math/rand/v2"
	"testing"

	protocol "bufferstop/harness/probe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sampleLate is by how much a sample may be taken later than told: its conversion is started by an interrupt. On the part there is up to a
// clock of the converter more, 8 µs, until it begins. README.md has it from here.
const sampleLate = 16 * microsecond

// samplesAreRight requires that the samples told are those that the converter took, and when.
func samplesAreRight(t *testing.T, b *board, zero int64) {
	t.Helper()
	for i := range b.tracks {
		require.NotEmpty(t, b.values[i])
		taken := b.taken[b.tracks[i].channel]
		var worst int64
		for k, v := range b.values[i] {
			require.Equal(t, taken[k].value, v.value, "sample %d of track %d", k, i)
			error := taken[k].at - zero - v.at
			require.GreaterOrEqual(t, error, int64(-1), "sample %d of track %d was taken earlier than told", k, i)
			worst = max(worst, error)
		}
		assert.LessOrEqual(t, worst, int64(sampleLate), "ticks by which a sample of track %d was taken later than told", i)
		t.Logf("track %d: %d samples, taken up to %d ticks later than told", i, len(b.values[i]), worst)
	}
}

// Values are those that the converter saw, times those at which it took them, whatever the interval.
func TestSamplesHaveTheValuesAndTimesOfTheConverter(t *testing.T) {
	for _, mcu := range []string{two, one} {
		for _, interval := range []uint16{100, 137, 500, 1000, 8000, 60000} {
			b := newBoard(t, &healthy, mcu)
			r := rand.New(rand.NewPCG(uint64(interval), 1))
			b.voltage = func(int, uint64) uint32 { return uint32(r.IntN(5001)) }
			b.start(1000, interval)
			zero := b.zero()
			alive := b.keepAlive()
			for range max(60, int(interval)/1000*8) {
				alive(b.m.Cycle())
				b.run(b.m.Cycle() + millisecond)
			}
			samplesAreRight(t, b, zero)
			for i := range b.tracks {
				for k := 1; k < len(b.values[i]); k++ {
					spacing := b.values[i][k].at - b.values[i][k-1].at
					require.InDelta(t, int64(interval)*int64(microsecond), spacing, 1, "interval of %d µs, sample %d of track %d", interval, k, i)
				}
			}
			b.lossless()
		}
	}
}

// A start while started goes on without a gap, with samples anew.
func TestAStartWhileStartedLosesNothing(t *testing.T) {
	for _, mcu := range []string{two, one} {
		b := newBoard(t, &healthy, mcu)
		b.start(1000, 500)
		b.run(b.m.Cycle() + 10*millisecond)
		before := b.stretches
		tick := b.do(protocol.Start{StretchMicros: 500, SampleMicros: 250})
		b.run(b.m.Cycle() + 10*millisecond)
		assert.Greater(t, b.stretches, before+15)
		assert.GreaterOrEqual(t, b.until, int64(tick))
		b.do(protocol.Stop{})
		stopped := b.stretches
		b.run(b.m.Cycle() + 10*millisecond)
		assert.Equal(t, stopped, b.stretches)
		assert.Zero(t, b.lostEdges+b.lostSamples)
		assert.LessOrEqual(t, b.gaps, 1, "between the two streams")
	}
}
