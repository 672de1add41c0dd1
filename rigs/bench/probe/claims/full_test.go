//go:build simavr

package claims

import (
	"math/rand/v2"
	"testing"

	protocol "bufferstop/harness/probe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Half-bits of 50 µs on every track, both channels sampled at 2 kHz, all of it streamed at 2 Mbaud, while commands come in: some
// 150 a second, most of them profiles for the loads, of up to 16 steps.
func TestNothingIsLostAtTwentyThousandEdgesInASecondOnEachTrack(t *testing.T) {
	length := 2 * second
	switch {
	case testing.Short():
		length = second / 10
	case whole():
		length = 10 * second
	}
	for _, mcu := range []string{two, one} {
		t.Run(mcu, func(t *testing.T) {
			b := newBoard(t, &healthy, mcu)
			b.voltage = func(channel int, cycle uint64) uint32 { return uint32(channel*1000) + uint32(cycle/millisecond)%4000 }
			b.start(1000, 500)
			zero := b.zero()
			told := len(b.told[0])
			begun := b.m.Cycle() + millisecond
			next := begun
			host := &busyHost{b: b, r: rand.New(rand.NewPCG(5, 6)), zero: zero}
			var fed [2][]seen
			for b.m.Cycle() < begun+length {
				until := b.m.Cycle() + millisecond
				for ; next < until; next += 50 * microsecond {
					for i := range b.tracks {
						level := protocol.CodePositive
						if len(fed[i])%2 > 0 {
							level = protocol.CodeNegative
						}
						if i == 0 {
							level ^= 3 // the reading of the clock left it positive
						}
						at := next + uint64(i)*100
						b.rails(at, i, level)
						fed[i] = append(fed[i], seen{int64(at), level})
					}
				}
				host.turn()
				b.run(until)
			}
			b.run(b.m.Cycle() + 5*millisecond)
			b.run(b.m.Cycle() + 5*millisecond)
			for i := range b.tracks {
				got := b.told[i]
				if i == 0 {
					got = got[told:]
				}
				require.Equal(t, len(fed[i]), len(got), "edges of track %d", i)
				for k, e := range fed[i] {
					require.Equal(t, e.at-zero, got[k].at, "edge %d of track %d", k, i)
					require.Equal(t, e.level, got[k].level, "edge %d of track %d", k, i)
				}
				assert.InDelta(t, float64(length+7*millisecond)/float64(500*microsecond), len(b.values[i]), 20, "samples of track %d", i)
			}
			b.lossless()
			samplesAreRight(t, b, zero)
			t.Logf("%d edges on each of %d tracks in %v s, %d commands, %d bytes, stretches of %d to %d ticks", len(fed[0]), len(b.tracks),
				float64(length)/float64(second), host.sent, b.bytes, b.shortest, b.longest)
		})
	}
}

// There is room to spare: half-bits a tenth shorter lose nothing either.
func TestHalfBitsOfFortyFiveMicrosecondsAreNotLostEither(t *testing.T) {
	b := newBoard(t, &healthy, two)
	b.start(1000, 500)
	b.each = func(*protocol.Stretch) {}
	var signals []*signal
	for i := range b.tracks {
		signals = append(signals, &signal{b: b, track: i, at: b.m.Cycle() + 1000 + uint64(300*i), level: protocol.CodePositive, half: func() uint64 { return 45 * microsecond }})
	}
	play(b, 20_000, b.keepAlive(), signals...)
	b.lossless()
}

// A busyHost sends commands now and then, one after the other as a client does that waits for answers.
type busyHost struct {
	b     *board
	r     *rand.Rand
	zero  int64
	waits bool
	sent  int
}

func (h *busyHost) turn() {
	b, r := h.b, h.r
	if len(b.answers) > 0 {
		h.waits = false
		b.answers = b.answers[:0]
	}
	if h.waits || r.IntN(5) > 0 {
		return
	}
	now := b.m.Cycle()
	h.waits = true
	h.sent++
	switch r.IntN(8) {
	case 0:
		b.post(now, protocol.AskStatus{})
	case 1:
		b.post(now, protocol.AskSync{Token: r.Uint32()})
	case 2:
		b.post(now, protocol.AskMark{ID: 7})
	case 3:
		b.post(now, protocol.Alive{})
		h.waits = false
	default:
		count := 1 + r.IntN(4)
		if r.IntN(10) == 0 {
			count = protocol.MaxSteps
		}
		m := &protocol.Load{Track: b.hello.Tracks[r.IntN(len(b.tracks))].ID, At: uint32(int64(now) + 5*int64(millisecond) - h.zero), Count: uint8(count)}
		for k := range m.Steps[:count] {
			m.Steps[k] = protocol.Step{Level: uint16(r.IntN(50)), Hold: uint16(50 + r.IntN(1000))}
		}
		b.post(now, m)
	}
}
