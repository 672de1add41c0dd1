//go:build simavr

package claims

import (
	"testing"

	"bufferstop/harness/dcc"
	protocol "bufferstop/harness/probe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// reflexLate is by how much a reflex may begin late whose delay is at least as long; a shorter delay may become this one.
const reflexLate = 2 * millisecond

// send puts a packet on a track from a cycle on, with 14 ones before it, and returns when its end bit ends.
func (b *board) send(at uint64, track int, level protocol.Code, packet []byte) (end uint64, next protocol.Code) {
	half := func(length uint64) {
		b.rails(at, track, level)
		at += length
		level ^= 3
	}
	bit := func(one bool) {
		length := 100 * microsecond
		if one {
			length = 58 * microsecond
		}
		half(length)
		half(length)
	}
	for range 14 {
		bit(true)
	}
	for _, c := range packet {
		bit(false)
		for k := 7; k >= 0; k-- {
			bit(c>>k&1 > 0)
		}
	}
	bit(true)
	b.rails(at, track, level)
	return at, level
}

// All rules are armed, the twelfth for a packet that comes on each track, the second time in a row. Either polarity, and packets that come only once do
// nothing.
func TestAReflexFiresAtTheSecondIdenticalPacket(t *testing.T) {
	write := dcc.Seal(0x7C, 0x1C, 0x05)
	reset := []byte{0, 0, 0}
	for _, mcu := range []string{two, one} {
		b := newBoard(t, &healthy, mcu)
		b.start(1000, 500)
		zero := b.zero()
		for track, h := range b.hello.Tracks {
			for i := range int(b.hello.ReflexRules) {
				if i%len(b.hello.Tracks) != track {
					continue
				}
				r := protocol.Reflex{Track: h.ID, Rule: uint8(i), Run: 2, Delay: 1500, Level: 15, Width: 1500, Length: 4}
				copy(r.Bytes[:], write)
				if i < int(b.hello.ReflexRules)-len(b.hello.Tracks) {
					r.Bytes[0] ^= 0xFF
				}
				b.do(r)
			}
		}
		for track := range b.tracks {
			for _, first := range []protocol.Code{protocol.CodePositive, protocol.CodeNegative} {
				have := len(b.ladder(track))
				b.answers = nil
				at, level := b.m.Cycle()+millisecond, first
				if b.level[track] == first { // a half-bit more before it, which is no bit
					b.rails(at, track, first^3)
					at += 200 * microsecond
				}
				var ends []uint64
				for _, p := range [][]byte{reset, write, reset, write, write, write, reset} {
					at, level = b.send(at, track, level, p)
					ends = append(ends, at)
				}
				alive := b.keepAlive()
				for b.m.Cycle() < at+20*millisecond {
					alive(b.m.Cycle())
					b.run(b.m.Cycle() + millisecond)
				}
				got := b.ladder(track)[have:]
				require.Len(t, got, 2, "a pulse on track %d", track)
				assert.EqualValues(t, 15, got[0].level)
				late := int64(got[0].at) - int64(ends[4]+6*millisecond)
				assert.GreaterOrEqual(t, late, int64(0))
				assert.LessOrEqual(t, late, int64(stepLate), "of the pulse 6 ms after the second packet")
				assert.InDelta(t, 6*millisecond, got[1].at-got[0].at, float64(stepLate))
				require.Len(t, b.answers, 1)
				event := b.answers[0].(protocol.Occurrence)
				assert.Equal(t, protocol.ReflexFired, event.What)
				assert.EqualValues(t, uint32(int64(ends[4])-zero), event.Tick)
				assert.EqualValues(t, int(b.hello.ReflexRules)-len(b.tracks)+track, event.Detail)
			}
		}
		b.lossless()
	}
}

// With no delay the pulse comes as soon as the probe has understood, also with signals on all tracks.
func TestAReflexWithoutDelayFiresInItsTime(t *testing.T) {
	write := dcc.Seal(0x7C, 0x1C, 0x05)
	for _, mcu := range []string{two, one} {
		b := newBoard(t, &healthy, mcu)
		b.start(1000, 500)
		track := len(b.tracks) - 1
		r := protocol.Reflex{Track: b.hello.Tracks[track].ID, Run: 2, Level: 15, Width: 250, Length: 4}
		copy(r.Bytes[:], write)
		b.do(r)
		alive := b.keepAlive()
		var lates worst
		at, level := b.m.Cycle()+millisecond, protocol.CodePositive
		other := &signal{b: b, track: 0, at: at, level: protocol.CodePositive, half: func() uint64 { return 58 * microsecond }}
		for range 20 {
			have := len(b.ladder(track))
			at, level = b.send(at, track, level, []byte{0, 0, 0})
			at, level = b.send(at, track, level, write)
			at, level = b.send(at, track, level, write)
			end := at
			for b.m.Cycle() < at+5*millisecond {
				alive(b.m.Cycle())
				if track > 0 {
					other.until(b.m.Cycle() + millisecond)
				}
				b.run(b.m.Cycle() + millisecond)
			}
			at = b.m.Cycle() + millisecond
			got := b.ladder(track)[have:]
			require.Len(t, got, 2)
			lates.add(int64(got[0].at) - int64(end))
		}
		assert.LessOrEqual(t, lates.most, int64(reflexLate))
		t.Logf("%s: %d to %d ticks after the end bit", mcu, lates.least, lates.most)
	}
}
