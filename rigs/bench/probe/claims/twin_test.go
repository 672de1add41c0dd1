//go:build simavr

package claims

import (
	"math/rand/v2"
	"testing"
	"time"

	"bufferstop/harness/dcc"
	protocol "bufferstop/harness/probe"
	signals "bufferstop/harness/signal"

	"periph.io/x/conn/v3/physic"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A twin is a probe's firmware and the probe in Go, which get the same.
type twin struct {
	*board
	device *protocol.Device
	other  *board // what the device tells
	loads  [2][]laid
	// planned are the cycles at which a load may step. A command that reaches the two a little before or after one may come
	// too late for the firmware and not for the other, which takes no time to read it.
	planned []int64
	heard   []uint64 // cycles at which packets end that a reflex may answer: the same holds for them
	shorts  [2][]laid
}

// when is the first time at which so many ticks have passed.
func when(cycle uint64) time.Duration { return time.Duration((cycle*1000 + 15) / 16) }

func newTwin(t *testing.T, image *build, mcu string) *twin {
	b := newBoard(t, image, mcu)
	b.start(1000, 0)
	zero := b.zero()
	b.do(protocol.Stop{})
	w := &twin{board: b, other: &board{t: t, mcu: mcu, tracks: b.tracks}}
	index := func(id int) int {
		for i, h := range b.hello.Tracks {
			if int(h.ID) == id {
				return i
			}
		}
		t.Fatalf("track %d", id)
		return 0
	}
	counts := func(channel int, cycle uint64) uint32 {
		return uint32(100*(channel+1)) + uint32(cycle/(20*millisecond)%8)*10
	}
	b.voltage = func(channel int, cycle uint64) uint32 { return (counts(channel, cycle)*5000 + 2500) / 1023 }
	w.device = protocol.NewDevice(protocol.DeviceConfig{
		Hello: *b.hello, FirstTick: uint32(-zero),
		Current: func(track int, at time.Duration) physic.ElectricCurrent {
			i := index(track)
			return physic.ElectricCurrent(counts(i, uint64(at)*16/1000)) * physic.ElectricCurrent(b.hello.Tracks[i].SenseMicroamps) * physic.MicroAmpere
		},
		OnLoad: func(track int, level uint16, at time.Duration) {
			w.loads[index(track)] = append(w.loads[index(track)], laid{uint64(at) * 16 / 1000, level})
		},
		OnShort: func(track int, on bool, at time.Duration) {
			level := uint16(0)
			if on {
				level = 1
			}
			w.shorts[index(track)] = append(w.shorts[index(track)], laid{uint64(at) * 16 / 1000, level})
		},
	})
	w.other.hello = b.hello
	w.device.Advance(when(b.m.Cycle()))
	for i, h := range b.hello.Tracks {
		level := signals.Off
		if b.level[i] == protocol.CodePositive {
			level = signals.Positive
		}
		w.device.Edge(int(h.ID), when(b.m.Cycle()), level)
	}
	// Both begin anew, with nothing told.
	w.told, w.values, w.taken, w.stretches, w.answers, w.changes = [2][]seen{}, [2][]sampled{}, [2][]sampled{}, 0, nil, nil
	w.both(protocol.TypeAskHello, protocol.AskHello{Version: 1}.Append(nil))
	return w
}

// An event is an edge for the device.
type event struct {
	at    uint64
	track int
	level protocol.Code
}

// rail puts a level on a track of both. The front end of the firmware is late with off.
func (w *twin) rail(e event) {
	p := w.tracks[e.track]
	if e.level == protocol.CodeOff {
		w.pin(e.at+uint64(w.hello.Tracks[e.track].OffDelay), p.absent, true)
	} else {
		w.rails(e.at, e.track, e.level)
	}
	level := map[protocol.Code]signals.Level{protocol.CodeOff: signals.Off, protocol.CodePositive: signals.Positive, protocol.CodeNegative: signals.Negative}[e.level]
	w.device.Edge(int(w.hello.Tracks[e.track].ID), when(e.at), level)
}

// both gives both a command, now.
func (w *twin) both(t protocol.Type, payload []byte) {
	frame := protocol.AppendFrame(nil, t, w.seq, payload)
	w.seq++
	at := w.bytesAt(w.m.Cycle(), frame)
	w.device.Advance(when(at))
	w.device.Receive(frame)
	w.run(at)
	w.other.take(w.device.Sent())
}

// command draws one, good or bad.
func (w *twin) command(r *rand.Rand, packet []byte) (protocol.Type, []byte) {
	id := w.hello.Tracks[r.IntN(len(w.tracks))].ID
	if r.IntN(12) == 0 {
		id = uint8(r.IntN(4))
	}
	var m protocol.Message
	choice := r.IntN(13)
	now := w.device.Tick(w.device.Now())
	for _, at := range w.planned {
		if in := at - int64(w.m.Cycle()); in > -int64(millisecond) && in < 4*int64(millisecond) {
			choice = 0
		}
	}
	for _, at := range w.heard {
		if ago := int64(w.m.Cycle()) - int64(at); ago > -int64(millisecond) && ago < 4*int64(millisecond) {
			choice = 0
		}
	}
	switch choice {
	case 0:
		m = protocol.AskStatus{}
	case 1:
		m = protocol.AskSync{Token: r.Uint32()}
	case 2:
		m = protocol.AskMark{ID: uint16(r.Uint32())}
	case 3:
		m = protocol.Short{Track: id, On: r.IntN(3) > 0, MostMs: uint16(r.IntN(60))}
	case 4:
		m = protocol.Supply{On: r.IntN(2) > 0}
	case 5:
		m = protocol.Safe{}
	case 6:
		x := protocol.Reflex{Track: id, Rule: uint8(r.IntN(14)), Run: uint8(r.IntN(12)), Delay: uint16(750 + r.IntN(500)), Level: uint16(r.IntN(66)), Width: uint16(100 + r.IntN(1500)), Length: uint8(len(packet))}
		copy(x.Bytes[:], packet)
		m = x
	case 7:
		m = protocol.Short{Track: id, On: true, MostMs: 40_000}
	case 8: // what is no command, or not of this length
		switch kind := protocol.Type(r.IntN(128)); kind {
		case protocol.TypeStop:
			return kind, []byte{0}
		case protocol.TypeAlive, protocol.TypeAskStatus, protocol.TypeSafe:
			return kind, make([]byte, r.IntN(3))
		default:
			return kind, nil
		}
	default:
		l := &protocol.Load{Track: id, Behind: r.IntN(2) > 0, Count: uint8(r.IntN(6)), At: now + uint32(8*millisecond+r.Uint64N(8*millisecond))}
		begins := int64(w.m.Cycle()) + int64(l.At-now)
		starts := []int64{begins}
		for _, at := range w.planned {
			if l.Behind && at > begins {
				starts = append(starts, at)
			}
		}
		for k := range l.Steps[:l.Count] {
			l.Steps[k] = protocol.Step{Level: uint16(r.IntN(66)), Hold: uint16(r.IntN(1000))}
		}
		for _, at := range starts {
			w.planned = append(w.planned, at)
			for _, s := range l.Steps[:l.Count] {
				at += int64(s.Hold) * 4 * int64(microsecond)
				w.planned = append(w.planned, at)
			}
		}
		m = l
	}
	return m.Type(), m.Append(nil)
}

// The firmware and the probe in Go get the same signals and the same commands, good ones and bad ones, and tell and do the same.
func TestTheFirmwareDoesWhatTheProbeInGoDoes(t *testing.T) {
	// Not more: sooner or later a reflex and a step of the load fall together within the time that the firmware takes to hear a packet.
	rounds := 300
	if testing.Short() {
		rounds = 60
	}
	for _, c := range []struct {
		name, mcu string
		image     *build
	}{{two, two, &healthy}, {one, one, &healthy}, {two + " over the end of 32 bits", two, &wrapping}, {one + " over the end of 32 bits", one, &wrapping}} {
		t.Run(c.name, func(t *testing.T) {
			w := newTwin(t, c.image, c.mcu)
			r := rand.New(rand.NewPCG(11, 12))
			w.begun = true
			w.both(protocol.TypeStart, protocol.Start{StretchMicros: 1000, SampleMicros: 500}.Append(nil))
			packets := [][]byte{dcc.Seal(0, 0), dcc.Seal(0x7C, 0x1C, 0x05), dcc.Seal(3, 0x3F, 0x85)}
			next := make([]uint64, len(w.tracks))
			level := make([]protocol.Code, len(w.tracks))
			for i := range next {
				next[i] = w.m.Cycle() + millisecond
				level[i] = protocol.CodeNegative
			}
			for range rounds {
				until := w.m.Cycle() + 4*millisecond
				var events []event
				for i := range w.tracks {
					for next[i] < until {
						packet := r.IntN(len(packets))
						events, next[i], level[i] = packetEvents(events, next[i], i, level[i], packets[packet], r)
						if packet == 1 {
							w.heard = append(w.heard, next[i])
						}
					}
				}
				sortEvents(events)
				k := 0
				for ; k < len(events) && events[k].at < until; k++ {
					w.rail(events[k])
				}
				// What reaches into the next round is fed at once: both take what comes later.
				for ; k < len(events); k++ {
					w.rail(events[k])
				}
				w.run(max(until, events[len(events)-1].at))
				w.device.Advance(when(w.m.Cycle()))
				w.other.take(w.device.Sent())
				w.both(w.command(r, packets[1]))
				for i := range next {
					next[i] = max(next[i], w.m.Cycle()+100*microsecond)
				}
			}
			w.run(w.m.Cycle() + 50*millisecond)
			w.device.Advance(when(w.m.Cycle()))
			w.other.take(w.device.Sent())
			w.same(t)
		})
	}
}

// packetEvents adds the edges of a packet, and of a cutout now and then.
func packetEvents(events []event, at uint64, track int, level protocol.Code, packet []byte, r *rand.Rand) ([]event, uint64, protocol.Code) {
	half := func(length uint64) {
		events = append(events, event{at, track, level})
		at += length
		level ^= 3
	}
	bit := func(one bool) {
		length := 95*microsecond + r.Uint64N(200)
		if one {
			length = 56*microsecond + r.Uint64N(80)
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
	if r.IntN(3) == 0 {
		events = append(events, event{at, track, level}, event{at + 30*microsecond, track, protocol.CodeOff})
		at += 480 * microsecond
	}
	return events, at, level
}

func sortEvents(events []event) {
	for i := 1; i < len(events); i++ {
		for k := i; k > 0 && events[k].at < events[k-1].at; k-- {
			events[k], events[k-1] = events[k-1], events[k]
		}
	}
}

// same requires that both have told and done the same.
func (w *twin) same(t *testing.T) {
	t.Helper()
	require.Zero(t, w.gaps+w.lostEdges+w.lostSamples, "%d gaps, %d stretches with lost edges, %d with lost samples", w.gaps, w.lostEdges, w.lostSamples)
	for i := range w.tracks {
		mine, theirs := w.told[i], w.other.told[i]
		n := min(len(mine), len(theirs))
		require.InDelta(t, len(theirs), len(mine), 40, "edges of track %d: the last stretches may not have come", i)
		for k := range n {
			require.Equal(t, theirs[k].level, mine[k].level, "edge %d of track %d at tick %d", k, i, theirs[k].at)
			if mine[k].level == protocol.CodeOff || k == 0 || mine[k-1].level == protocol.CodeOff {
				require.InDelta(t, theirs[k].at, mine[k].at, float64(late), "edge %d of track %d", k, i)
			} else {
				require.Equal(t, theirs[k].at, mine[k].at, "edge %d of track %d", k, i)
			}
		}
		// The two hear of START at different times, so the samples of one are somewhere between those of the other; the current goes in long steps.
		require.InDelta(t, len(w.other.values[i]), len(w.values[i]), 6, "samples of track %d", i)
		differ := 0
		for k := range min(len(w.values[i]), len(w.other.values[i])) {
			require.InDelta(t, w.other.values[i][k].at, w.values[i][k].at, float64(millisecond), "sample %d of track %d", k, i)
			if w.values[i][k].value != w.other.values[i][k].value {
				differ++
			}
		}
		require.Less(t, differ, len(w.values[i])/10, "samples of track %d of another value", i)
		sameSteps(t, w.loads[i], w.ladder(i), "load of track %d", i)
		sameSteps(t, w.shorts[i], w.closed(i), "short of track %d", i)
	}
	require.Equal(t, kinds(w.other.answers), kinds(w.answers))
	t.Logf("%d and %d edges, %d answers, %d and %d steps of load, shorts %d", len(w.told[0]), len(w.told[1]), len(w.answers), len(w.loads[0]), len(w.loads[1]), len(w.shorts[0])+len(w.shorts[1]))
}

func sameSteps(t *testing.T, want, got []laid, what string, track int) {
	t.Helper()
	for k := range min(len(want), len(got)) {
		require.Equal(t, want[k].level, got[k].level, what+": step %d: %v, %v", track, k, want[max(k-3, 0):min(k+3, len(want))], got[max(k-3, 0):min(k+3, len(got))])
		assert.InDelta(t, want[k].at, got[k].at, float64(2*millisecond), what, track)
	}
	require.Equal(t, len(want), len(got), what, track)
}

// kinds are the answers without their times.
func kinds(answers []protocol.Message) (kinds []any) {
	for _, m := range answers {
		switch m := m.(type) {
		case protocol.Done:
			m.Tick = 0
			kinds = append(kinds, m)
		case protocol.Sync:
			m.Tick = 0
			kinds = append(kinds, m)
		case protocol.Mark:
			m.Tick = 0
			kinds = append(kinds, m)
		case protocol.Status:
			kinds = append(kinds, protocol.Status{Refused: m.Refused, CommandsBroken: m.CommandsBroken})
		case protocol.Occurrence:
			// they come between answers, a little earlier or later
		case *protocol.Hello:
			kinds = append(kinds, *m)
		default:
			kinds = append(kinds, m)
		}
	}
	return kinds
}
