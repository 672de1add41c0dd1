//go:build simavr

package claims

import (
	"math/rand/v2"
	"testing"

	protocol "bufferstop/harness/probe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A short is open 100 ms after the last valid frame of the host, also when the line goes dead in the middle of a frame or when
// noise goes on.
func TestAShortIsOpenAHundredMillisecondsAfterTheLastSignOfLife(t *testing.T) {
	for _, mcu := range []string{two, one} {
		for _, c := range []struct {
			name string
			then func(b *board, last uint64)
		}{
			{"silence", func(*board, uint64) {}},
			{"half a frame", func(b *board, last uint64) {
				frame := protocol.AppendFrame(nil, protocol.TypeAlive, b.seq, nil)
				b.bytesAt(last+25*millisecond, frame[:len(frame)/2])
			}},
			{"broken frames", func(b *board, last uint64) {
				for i := range uint64(20) {
					frame := protocol.AppendFrame(nil, protocol.TypeAlive, b.seq, nil)
					frame[2] ^= 0x10
					b.bytesAt(last+i*10*millisecond, frame)
				}
			}},
			{"noise", func(b *board, last uint64) {
				r := rand.New(rand.NewPCG(1, 1))
				noise := make([]byte, 30_000) // 150 ms of the line
				for i := range noise {
					noise[i] = byte(r.Uint32())
				}
				b.bytesAt(last, noise)
			}},
		} {
			t.Run(mcu+" "+c.name, func(t *testing.T) {
				b := newBoard(t, &healthy, mcu)
				for i := range b.tracks {
					b.do(protocol.Short{Track: b.hello.Tracks[i].ID, On: true, MostMs: 10_000})
					b.do(&protocol.Load{Track: b.hello.Tracks[i].ID, Count: 1, Steps: [protocol.MaxSteps]protocol.Step{{Level: 3}}})
				}
				var last uint64
				for range 20 {
					last = b.post(b.m.Cycle()+25*millisecond, protocol.Alive{})
					b.run(last)
				}
				c.then(b, last)
				b.run(last + 130*millisecond)
				for i := range b.tracks {
					steps := b.closed(i)
					require.Len(t, steps, 2, "the switch of track %d", i)
					opened := int64(steps[1].at) - int64(last)
					assert.Greater(t, opened, int64(95*millisecond))
					t.Logf("open %v ms after the last valid frame", float64(opened)/float64(millisecond))
					assert.LessOrEqual(t, opened, int64(100*millisecond))
					load := b.ladder(i)
					require.Len(t, load, 2)
					assert.LessOrEqual(t, int64(load[1].at)-int64(last), int64(100*millisecond))
				}
				told := map[protocol.What]int{}
				for _, m := range b.answers {
					if o, ok := m.(protocol.Occurrence); ok {
						told[o.What]++
					}
				}
				assert.Equal(t, map[protocol.What]int{protocol.ShortOpenedSilent: len(b.tracks), protocol.LoadOffSilent: len(b.tracks)}, told)
				assert.Zero(t, b.m.Resets())
				b.run(b.line + 10*millisecond)
				b.bytesAt(b.m.Cycle(), []byte{0})
				b.ask(protocol.AskStatus{}) // it still listens
			})
		}
	}
}

// A short opens when its time is over, however much the host lives.
func TestAShortOpensAtItsOwnTime(t *testing.T) {
	for _, mcu := range []string{two, one} {
		b := newBoard(t, &healthy, mcu)
		alive := b.keepAlive()
		for _, most := range []uint16{1, 7, 250} {
			have := len(b.closed(0))
			b.do(protocol.Short{Track: b.hello.Tracks[0].ID, On: true, MostMs: most})
			for range int(most) + 5 {
				alive(b.m.Cycle())
				b.run(b.m.Cycle() + millisecond)
			}
			steps := b.closed(0)[have:]
			require.Len(t, steps, 2)
			assert.InDelta(t, uint64(most)*millisecond, steps[1].at-steps[0].at, float64(millisecond))
		}
		last := b.answers[len(b.answers)-1].(protocol.Occurrence)
		assert.Equal(t, protocol.ShortOpenedTime, last.What)
		assert.EqualValues(t, 3, b.status().OpenedByItself)
	}
}

// A main loop that hangs is ended by the watchdog, and the reset opens everything.
func TestTheWatchdogOpensEverythingWhenTheMainLoopHangs(t *testing.T) {
	for _, mcu := range []string{two, one} {
		b := newBoard(t, &hanging, mcu)
		b.do(protocol.Short{Track: b.hello.Tracks[0].ID, On: true, MostMs: 10_000})
		b.do(protocol.Supply{On: false})
		b.do(&protocol.Load{Track: b.hello.Tracks[0].ID, Count: 1, Steps: [protocol.MaxSteps]protocol.Step{{Level: 5}}})
		hangs := b.post(b.m.Cycle(), protocol.AskMark{ID: 0xDEAD})
		b.run(hangs + 60*millisecond)
		assert.Equal(t, 1, b.m.Resets())
		steps := b.closed(0)
		require.Len(t, steps, 2)
		assert.LessOrEqual(t, int64(steps[1].at)-int64(hangs), int64(50*millisecond))
		t.Logf("%s: open %v ms after the loop hung", mcu, float64(steps[1].at-hangs)/float64(millisecond))
		load := b.ladder(0)
		require.Len(t, load, 2)
		assert.EqualValues(t, 0, load[1].level)
		b.next = 0 // it counts anew
		b.ask(protocol.AskHello{Version: protocol.Version})
		assert.EqualValues(t, 1<<3, b.status().ResetCause, "WDRF alone")
	}
}

// Above its continuous rating a load stays on as long as the HELLO says, and is off then.
func TestALoadGoesOffAtItsRating(t *testing.T) {
	mcus := []string{two, one}
	if !whole() {
		mcus = mcus[1:] // five seconds each
	}
	for _, mcu := range mcus {
		b := newBoard(t, &healthy, mcu)
		h := b.hello.Tracks[0]
		alive := b.keepAlive()
		b.do(&protocol.Load{Track: h.ID, Count: 1, Steps: [protocol.MaxSteps]protocol.Step{{Level: h.LoadContinuous + 1}}})
		for range int(h.LoadBriefMs) + 20 {
			alive(b.m.Cycle())
			b.run(b.m.Cycle() + millisecond)
		}
		load := b.ladder(0)
		require.Len(t, load, 2)
		assert.InDelta(t, uint64(h.LoadBriefMs)*millisecond, load[1].at-load[0].at, float64(3*millisecond))
		last := b.answers[len(b.answers)-1].(protocol.Occurrence)
		assert.Equal(t, protocol.LoadOffRating, last.What)
	}
}

// Noise of every kind on the line never makes the probe do anything and never keeps it from hearing what comes after. (At the full rate of the
// line it may cost stretches, which are marked.)
func TestNoiseOnTheLineDoesNothing(t *testing.T) {
	rounds := 24
	if testing.Short() {
		rounds = 10
	}
	for _, mcu := range []string{two, one} {
		b := newBoard(t, &healthy, mcu)
		r := rand.New(rand.NewPCG(3, 4))
		b.start(1000, 500)
		before := len(b.changes)
		for n := range rounds {
			noise := make([]byte, r.IntN(2000))
			for i := range noise {
				switch n % 4 {
				case 0:
					noise[i] = byte(r.Uint32())
				case 1:
					noise[i] = byte(r.IntN(4))
				case 2:
					noise[i] = 0
				default: // valid frames of commands that heat, with one bit wrong
					if i == 0 {
						for noise = noise[:0]; len(noise) < 500; {
							f := protocol.AppendFrame(nil, protocol.TypeShort, byte(r.Uint32()), protocol.Short{Track: b.hello.Tracks[0].ID, On: true, MostMs: 100}.Append(nil))
							f[r.IntN(len(f)-1)] ^= 1 << r.IntN(8)
							noise = append(noise, f...)
						}
					}
				}
				if i+1 >= len(noise) {
					break
				}
			}
			b.run(b.bytesAt(b.m.Cycle(), noise) + 5*millisecond)
			b.bytesAt(b.m.Cycle(), []byte{0})
			b.answers = nil
			b.status()
		}
		assert.Equal(t, before, len(b.changes), "changes of the outputs")
		assert.Zero(t, b.m.Resets())
		assert.NotZero(t, b.status().CommandsBroken)
	}
}

// A host that died while it had cut the supply of the station does not leave it without for ever: after a second of silence the probe
// gives it back, with everything else off.
func TestTheSupplyComesBackASecondAfterTheLastSignOfLife(t *testing.T) {
	mcus := []string{two, one}
	if !whole() {
		mcus = mcus[1:] // a second each
	}
	for _, mcu := range mcus {
		b := newBoard(t, &healthy, mcu)
		b.do(protocol.Supply{On: false})
		last := b.m.Cycle()
		b.run(last + 900*millisecond)
		require.Len(t, b.supply(), 1, "a restart may take its time")
		b.run(last + 1100*millisecond)
		steps := b.supply()
		require.Len(t, steps, 2)
		assert.InDelta(t, last+second, steps[1].at, float64(5*millisecond))
	}
}

// supply gives when the station's supply was cut and given back.
func (b *board) supply() (steps []laid) {
	var level uint16
	for _, c := range b.changes {
		if now := uint16(c.Value >> 2 & 1); c.Port == map[string]byte{two: 'G', one: 'B'}[b.mcu] && now != level {
			level = now
			steps = append(steps, laid{c.Cycle, level})
		}
	}
	return steps
}

// The time above the rating is counted, not looked at now and then: a load that pulses a thousand times in a second, in step with the
// probe's own millisecond, heats as well.
func TestALoadThatPulsesGoesOffAtItsRatingToo(t *testing.T) {
	b := newBoard(t, &healthy, one)
	h := b.hello.Tracks[0]
	alive := b.keepAlive()
	b.start(1000, 0)
	zero := b.zero()
	profile := &protocol.Load{Track: h.ID, Behind: true, Count: 8}
	for k := range profile.Steps[:8] {
		profile.Steps[k] = protocol.Step{Level: uint16(k%2) * h.LoadTop, Hold: []uint16{50, 200}[k%2]} // 800 µs of each millisecond
	}
	begins := b.m.Cycle() + 10*millisecond + 500*microsecond
	for at := begins; at < begins+second*7; at += 4 * millisecond {
		b.run(at - 3*millisecond)
		alive(b.m.Cycle())
		profile.At = uint32(int64(at) - zero)
		b.post(b.m.Cycle(), profile)
		for _, m := range b.answers {
			_, refused := m.(protocol.Refused)
			require.False(t, refused, "%v", m)
			if o, ok := m.(protocol.Occurrence); ok {
				assert.Equal(t, protocol.LoadOffRating, o.What)
				ran := float64(b.m.Cycle()-begins) / float64(millisecond)
				assert.InDelta(t, h.LoadBriefMs, ran, 30)
				return
			}
		}
		b.answers = b.answers[:0]
	}
	t.Error("it pulses still")
}
