//go:build simavr

package claims

import (
	"math/rand/v2"
	"path/filepath"
	"testing"

	protocol "bufferstop/harness/probe"
	"bufferstop/rigs/processor"

	"github.com/stretchr/testify/require"
)

// late is by how much an edge may be told late whose time the firmware reads itself: one of ABSENT, which no input capture
// watches. README.md has it from here.
const late = 16 * microsecond

// A signal puts edges on a track, cycle after cycle.
type signal struct {
	b     *board
	track int
	at    uint64 // of the next edge
	level protocol.Code
	half  func() uint64 // how long the next level lasts
	off   func() uint64 // if not 0, no voltage for so long after the present level
	edges int
}

// until feeds all edges before a cycle.
func (s *signal) until(cycle uint64) {
	for s.at < cycle {
		s.b.rails(s.at, s.track, s.level)
		s.edges++
		next := protocol.CodePositive
		if s.level == protocol.CodePositive {
			next = protocol.CodeNegative
		}
		if s.level != protocol.CodeOff && s.off != nil {
			if gone := s.off(); gone > 0 {
				s.at += s.half()
				s.b.rails(s.at, s.track, protocol.CodeOff)
				s.edges++
				s.at += gone
				if gone&1 > 0 {
					next = s.level // the same polarity again
				}
				s.level = next
				continue
			}
		}
		s.at += s.half()
		s.level = next
	}
}

// play runs until so many edges were on the tracks, in steps that keep little waiting.
func play(b *board, edges int, each func(now uint64), signals ...*signal) {
	for n := 0; n < edges; {
		until := b.m.Cycle() + millisecond
		n = 0
		for _, s := range signals {
			s.until(until)
			n += s.edges
		}
		if each != nil {
			each(b.m.Cycle())
		}
		b.run(until)
	}
	b.run(b.m.Cycle() + 5*millisecond)
}

// halves draws legal half-bits of 50 µs to 12 ms: mostly those of ones and short zeros, some stretched zeros, as S-9.1 allows them.
func halves(r *rand.Rand) func() uint64 {
	return func() uint64 {
		switch n := r.IntN(1000); {
		case n < 3:
			return 120*microsecond + r.Uint64N(11880*microsecond)
		case n < 600:
			return 50*microsecond + r.Uint64N(16*microsecond)
		default:
			return 90*microsecond + r.Uint64N(30*microsecond)
		}
	}
}

// Polarity edges have the time of simavr's own trace of the pins, to the tick, on both tracks, also when edges of the two coincide;
// edges to off and back are at most `late` late. A million edges with
// BUFFERSTOP_FIRMWARE=whole, a tenth of that otherwise.
func TestEdgeTimesAreThoseOfTheSimulatorsOwnTrace(t *testing.T) {
	edges := 100_000
	switch {
	case testing.Short():
		edges = 20_000
	case whole():
		edges = 1_000_000
	}
	for _, mcu := range []string{two, one} {
		t.Run(mcu, func(t *testing.T) {
			b := newBoard(t, &healthy, mcu)
			trace := filepath.Join(t.TempDir(), "pins.vcd")
			var traced []processor.Traced
			for i, p := range b.tracks {
				traced = append(traced, processor.Traced{Name: []string{"sign0", "sign1"}[i], Pin: p.sign}, processor.Traced{Name: []string{"absent0", "absent1"}[i], Pin: p.absent})
			}
			require.NoError(t, b.m.Trace(trace, traced))
			r := rand.New(rand.NewPCG(1, 2))
			b.start(1000, 500)
			var signals []*signal
			for i := range b.tracks {
				s := &signal{b: b, track: i, at: b.m.Cycle() + 1000, level: protocol.CodePositive, half: halves(r)}
				s.off = func() uint64 {
					if r.IntN(200) > 0 {
						return 0
					}
					return 50*microsecond + r.Uint64N(2*millisecond)
				}
				signals = append(signals, s)
			}
			if len(signals) == 2 { // coinciding edges: the second track repeats the first one's now and then
				first, own := halves(r), signals[1].half
				signals[0].half = first
				signals[1].half = func() uint64 {
					if gap := signals[0].at - signals[1].at; signals[0].at > signals[1].at && gap >= 50*microsecond && gap < millisecond && r.IntN(3) > 0 {
						return gap
					}
					return own()
				}
			}
			edges := edges
			if mcu == one {
				edges /= 5
			}
			play(b, edges, b.keepAlive(), signals...)
			b.lossless()
			b.free()
			compare(t, b, trace)
		})
	}
}
