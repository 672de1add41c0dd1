//go:build simavr

package claims

import (
	"math/rand/v2"
	"testing"

	protocol "bufferstop/harness/probe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stepLate is by how much a step of the load may begin late, and so by how much a width may be wrong: the claim is 50 µs.
const stepLate = 50 * microsecond

// A laid step is a change of a load's ladder.
type laid struct {
	at    uint64
	level uint16
}

// ladder gives what a track's ladder has done since the board began.
func (b *board) ladder(track int) (steps []laid) {
	var level uint16
	var ports [256]byte
	for _, c := range b.changes {
		ports[c.Port] = c.Value
		now := uint16(ports["AC"[track]])
		if b.mcu == one {
			now = uint16(ports['D']>>3) | uint16(ports['B']>>3&1)<<5
		}
		if now != level {
			level = now
			steps = append(steps, laid{c.Cycle, level})
		}
	}
	if b.mcu != one {
		return steps
	}
	// The ladder is on two ports there, some cycles apart: what is between is no step.
	settled := steps[:0]
	for k, s := range steps {
		if k+1 == len(steps) || steps[k+1].at-s.at > 10 {
			settled = append(settled, s)
		}
	}
	return settled
}

// closed gives when the switch across a track was closed and opened.
func (b *board) closed(track int) (steps []laid) {
	port, bit := byte('G'), track
	if b.mcu == one {
		port, bit = 'B', 1
	}
	var level uint16
	for _, c := range b.changes {
		if now := uint16(c.Value >> bit & 1); c.Port == port && now != level {
			level = now
			steps = append(steps, laid{c.Cycle, level})
		}
	}
	return steps
}

// Pulses of many widths begin when they were asked for and last as long, measured at the ladder, with nothing else to do and
// with edges at the full rate of every track, samples and questions.
func TestLoadStepsBeginAndLastAsAsked(t *testing.T) {
	for _, mcu := range []string{two, one} {
		for _, busy := range []bool{false, true} {
			name := mcu + map[bool]string{true: " with full traffic"}[busy]
			t.Run(name, func(t *testing.T) {
				b := newBoard(t, &healthy, mcu)
				r := rand.New(rand.NewPCG(7, 8))
				b.start(1000, 500)
				zero := b.zero()
				b.each = func(*protocol.Stretch) {}
				var signals []*signal
				if busy {
					for i := range b.tracks {
						signals = append(signals, &signal{b: b, track: i, at: b.m.Cycle() + uint64(500*i), level: protocol.CodeNegative, half: func() uint64 { return 50 * microsecond }})
					}
				}
				pulses := 60
				if testing.Short() {
					pulses = 15
				}
				alive := b.keepAlive()
				var starts, widths worst
				for n := range pulses {
					track := n % len(b.tracks)
					m := &protocol.Load{Track: b.hello.Tracks[track].ID}
					at := b.m.Cycle() + 5*millisecond + r.Uint64N(20*millisecond) // so long a command may wait at the full rate
					m.At = uint32(int64(at) - zero)
					m.Count = uint8(1 + r.IntN(protocol.MaxSteps))
					top := b.hello.Tracks[track].LoadContinuous
					var want []laid
					for k := range m.Steps[:m.Count] {
						hold := 50 + r.IntN(500)
						if r.IntN(20) == 0 {
							hold = 1000 + r.IntN(9000)
						}
						level := 1 + uint16(r.IntN(int(top)))
						if k > 0 && level == m.Steps[k-1].Level {
							level = 1 + level%top
						}
						m.Steps[k] = protocol.Step{Level: level, Hold: uint16(hold)}
						want = append(want, laid{at, level})
						at += uint64(hold) * 4 * microsecond
					}
					want = append(want, laid{at, 0})
					have := len(b.ladder(track))
					b.post(b.m.Cycle(), m)
					for b.m.Cycle() < at+2*millisecond {
						until := b.m.Cycle() + millisecond
						for _, s := range signals {
							s.until(until)
						}
						alive(b.m.Cycle())
						if busy && r.IntN(10) == 0 {
							b.post(b.m.Cycle(), protocol.AskStatus{})
						}
						b.run(until)
					}
					got := b.ladder(track)[have:]
					require.Equal(t, len(want), len(got), "steps of profile %d on track %d: %+v", n, track, m)
					for k := range want {
						require.Equal(t, want[k].level, got[k].level, "step %d of profile %d", k, n)
						starts.add(int64(got[k].at) - int64(want[k].at))
						if k > 0 {
							widths.add(int64(got[k].at-got[k-1].at) - int64(want[k].at-want[k-1].at))
						}
					}
				}
				assert.GreaterOrEqual(t, starts.least, int64(0))
				assert.LessOrEqual(t, starts.most, int64(stepLate))
				assert.LessOrEqual(t, max(widths.most, -widths.least), int64(stepLate))
				t.Logf("%d steps began %d to %d ticks late, widths were wrong by %d to %d", starts.n, starts.least, starts.most, widths.least, widths.most)
			})
		}
	}
}

// worst keeps the extremes of errors in ticks.
type worst struct {
	n           int
	least, most int64
}

func (w *worst) add(error int64) {
	if w.n == 0 {
		w.least, w.most = error, error
	}
	w.n++
	w.least, w.most = min(w.least, error), max(w.most, error)
}

// A profile whose time is past begins at once and keeps its widths; one that is appended follows without a seam; one that replaces
// another ends it.
func TestLoadProfilesFollowEachOther(t *testing.T) {
	for _, mcu := range []string{two, one} {
		b := newBoard(t, &healthy, mcu)
		track := b.hello.Tracks[0].ID
		zero := int64(b.m.Cycle()) - int64(b.ask(protocol.AskSync{}).(protocol.Sync).Tick) // near enough
		load := func(behind bool, in int64, steps ...protocol.Step) {
			m := &protocol.Load{Track: track, Behind: behind, At: uint32(int64(b.m.Cycle()) - zero + in), Count: uint8(len(steps))}
			copy(m.Steps[:], steps)
			b.do(m)
		}
		load(false, -int64(second), protocol.Step{Level: 5, Hold: 500}, protocol.Step{Level: 6, Hold: 250})
		load(true, 0, protocol.Step{Level: 7, Hold: 250})
		b.run(b.m.Cycle() + 10*millisecond)
		got := b.ladder(0)
		require.Len(t, got, 4)
		assert.InDelta(t, 2*millisecond, got[1].at-got[0].at, float64(stepLate))
		assert.InDelta(t, millisecond, got[2].at-got[1].at, float64(stepLate))
		assert.InDelta(t, millisecond, got[3].at-got[2].at, float64(stepLate))
		assert.Equal(t, []uint16{5, 6, 7, 0}, []uint16{got[0].level, got[1].level, got[2].level, got[3].level})

		load(false, 0, protocol.Step{Level: 9})
		load(true, 50*int64(millisecond), protocol.Step{Level: 10})
		b.post(b.m.Cycle()+20*millisecond, protocol.Alive{})
		b.post(b.m.Cycle()+40*millisecond, protocol.Alive{})
		b.run(b.m.Cycle() + 60*millisecond)
		got = b.ladder(0)[4:]
		require.Len(t, got, 2)
		assert.InDelta(t, 50*millisecond, got[1].at-got[0].at, float64(millisecond), "the second one's time")
		load(false, 0)
		got = b.ladder(0)[4:]
		require.Len(t, got, 3)
		assert.EqualValues(t, 0, got[2].level)
	}
}

// The queue holds what the HELLO says, and no more.
func TestAFullLoadQueueIsBusy(t *testing.T) {
	for _, mcu := range []string{two, one} {
		b := newBoard(t, &healthy, mcu)
		m := &protocol.Load{Track: b.hello.Tracks[0].ID, Behind: true, At: 1 << 30, Count: b.hello.LoadQueue}
		for k := range m.Steps {
			m.Steps[k] = protocol.Step{Level: 1, Hold: 1}
		}
		b.do(m)
		m.Count = 1
		refused, ok := b.ask(m).(protocol.Refused)
		require.True(t, ok)
		assert.Equal(t, protocol.ReasonBusy, refused.Reason)
		m.Behind = false
		b.do(m)
	}
}
