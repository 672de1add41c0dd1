package simulated

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
)

func TestACutoutFollowsEachPacketAndLeavesTwelveOnes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed"), Habit: "cutout"}, true)
		b.powerUp()
		b.do("LOCO:SPE 3,10,FORW,128")
		b.wait(500 * time.Millisecond)
		require.Greater(t, len(b.main.packets), 50)
		offs := map[time.Duration]time.Duration{}
		for _, u := range b.main.unusable {
			if u.Start == 0 {
				continue // before power on
			}
			require.Equal(t, signal.ReasonOff, u.Reason)
			offs[u.Start] = u.End
		}
		for i, p := range b.main.packets[:len(b.main.packets)-1] {
			next := b.main.packets[i+1]
			assert.GreaterOrEqual(t, next.Preamble, 12)
			found := false
			for begins, ends := range offs {
				if begins > p.End && ends <= next.Start {
					found = true
					assert.InDelta(t, 29, float64(begins-p.End)/1000, 3)
					assert.InDelta(t, 471, float64(ends-p.End)/1000, 17)
				}
			}
			assert.True(t, found, "after packet %d", i)
		}
		// The bits went on meanwhile: with what the cutout took, the preamble is as long as it was sent, and its ones are whole.
		one := b.main.receiver.Statistics().OneHalf
		assert.Zero(t, one.Outside)
		for i, p := range b.main.packets[1:] {
			sent := float64(p.StartBit-b.main.packets[i].End) / (2 * one.Mean())
			assert.InDelta(t, float64(int(sent+0.5)), sent, 0.05)
			assert.GreaterOrEqual(t, sent, 16.9)
		}
	})
}

func TestAStationWithoutTheHabitHasNoCutout(t *testing.T) {
	b := newBench(t, Options{}, true)
	b.powerUp()
	b.wait(time.Second)
	for _, u := range b.main.unusable {
		assert.Zero(t, u.Start)
	}
}

func TestPowerGoesOffOnATrackWithCutouts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed"), Habit: "cutout"}, true)
		b.powerUp()
		b.wait(time.Duration(rapid.IntRange(0, 20000).Draw(t, "µs")) * time.Microsecond)
		b.do("TRAC:POW MAIN,OFF")
		last := b.main.edges[len(b.main.edges)-1]
		assert.Equal(t, signal.Off, last.Level)
		end := b.main.packets[len(b.main.packets)-1].End
		assert.GreaterOrEqual(t, last.Time-end, 26*time.Microsecond)
		b.wait(100 * time.Millisecond)
		assert.Equal(t, last, b.main.edges[len(b.main.edges)-1])
		b.do("TRAC:POW MAIN,ON")
		b.wait(100 * time.Millisecond)
		assert.Greater(t, b.main.count(packet(dcc.Idle{}, nil)), 5)
	})
}

// What the station measures in a cutout, nothing, says nothing of the current.
func TestACutoutDoesNotLowerTheReportedCurrent(t *testing.T) {
	reported := func(habit string) string {
		b := newBench(t, Options{Nominal: true, Habit: habit}, true)
		b.powerUp()
		require.NoError(t, b.Track("main").Load(1_000_000_000))
		b.wait(time.Second)
		return b.ask("TRAC:CURR? MAIN")
	}
	assert.InDelta(t, figure(t, reported("")), figure(t, reported("cutout")), 10)
}
