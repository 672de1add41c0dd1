package probe

import (
	"slices"
	"testing"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

// A stand is a device with a course on each track, without any link.
type stand struct {
	device  *Device
	courses [MaxTracks]*course
	taken   *Recording // the receiving half, as a client or a replay has it
}

// newStand has the device start at time zero. Its clock shows something that soon wraps.
func newStand(seed uint64, mean time.Duration, offs bool, first uint32) *stand {
	hello := testHello()
	s := &stand{device: NewDevice(DeviceConfig{Hello: *hello, FirstTick: first,
		Current: func(track int, t time.Duration) physic.ElectricCurrent {
			return physic.ElectricCurrent(t.Milliseconds()%500) * physic.MilliAmpere
		}}), taken: &Recording{running: true}}
	for i := range s.courses {
		s.courses[i] = newCourse(seed+uint64(i), mean, offs)
	}
	s.device.Receive(AppendFrame(nil, TypeAskHello, 0, []byte{1}))
	s.device.Receive(AppendFrame(nil, TypeStart, 1, Start{1000, 500}.Append(nil)))
	s.device.Sent()
	e := &epoch{Tick: first, Nanos: 62.5}
	s.taken.takes.begin(e, hello)
	s.taken.gate.begin(e, 0)
	return s
}

// to lets time pass, and gives what the device has sent.
func (s *stand) to(t time.Duration) []byte {
	for now := s.device.Now(); now < t; {
		now = min(now+50*time.Millisecond, t)
		s.both(now)
		s.device.Receive(AppendFrame(nil, TypeAlive, 0, nil))
	}
	return s.device.Sent()
}

// both tells the device of the edges of both tracks in order of time.
func (s *stand) both(t time.Duration) {
	for s.courses[0].next < t || s.courses[1].next < t {
		first, other := s.courses[0], s.courses[1]
		track := 0
		if other.next < first.next {
			first, track = other, 1
		}
		first.until(first.next+1, s.device, track)
	}
	s.device.Advance(t)
}

func (s *stand) check(t require.TestingT, w *witness) {
	for i, c := range s.courses {
		require.Empty(t, w.compare(i, c, 0), "track %d", i)
	}
}

func TestWithoutLossEveryEdgeIsThereAtItsTime(t *testing.T) {
	for _, first := range []uint32{0, 0xffff_f000, 0x7fff_0000} {
		s, w := newStand(uint64(first), 60*time.Microsecond, true, first), newWitness()
		s.taken.now = time.Hour
		s.taken.received(s.to(400*time.Millisecond), w)
		s.check(t, w)
		for i := range w.tracks {
			assert.Empty(t, w.tracks[i].lost)
			assert.Greater(t, len(w.tracks[i].edges), 5000)
			assert.InDelta(t, 800, len(w.tracks[i].samples), 2)
		}
		assert.Greater(t, w.complete, 399*time.Millisecond-20*time.Microsecond)
	}
}

func TestSamplesHaveTheirTimesAndCurrents(t *testing.T) {
	s, w := newStand(1, time.Millisecond, false, 0), newWitness()
	s.taken.received(s.to(300*time.Millisecond), w)
	require.NotEmpty(t, w.tracks[0].samples)
	for track, perCount := range []float64{4.888, 1.222} {
		for i, c := range w.tracks[track].samples {
			assert.Equal(t, time.Duration(i)*500*time.Microsecond+time.Duration(track+1)*250*time.Microsecond, c.Time)
			assert.InDelta(t, float64(c.Time.Milliseconds()%500), float64(c.Current)/1e6, perCount/2+1e-3)
		}
	}
}

func TestACorrectionTakesThePlaceOfTheHellosFigures(t *testing.T) {
	s, w := newStand(1, time.Millisecond, false, 0), newWitness()
	e := &epoch{Nanos: 62.5, Corrections: [MaxTracks]Correction{{Gain: 1.1, Zero: 4}}}
	s.taken.takes.begin(e, testHello())
	s.taken.received(s.to(2*time.Millisecond), w)
	assert.Equal(t, current.Sample{Time: 250 * time.Microsecond, Current: physic.ElectricCurrent((2. - 4) * 4_888_000 * 1.1)},
		w.tracks[0].samples[0], "below zero stays below zero")
}

// TestWhateverHappensToTheStreamNoTimeIsWrong cuts, breaks, drops and repeats what the device sends. What was sent and
// comes out of the noise as a good frame although it is not the one that was sent ends the check: a CRC of 16 bits lets
// one broken frame in 65536 pass.
func TestWhateverHappensToTheStreamNoTimeIsWrong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newStand(rapid.Uint64().Draw(t, "seed"), time.Duration(rapid.IntRange(20, 400).Draw(t, "mean"))*time.Microsecond,
			rapid.Bool().Draw(t, "offs"), rapid.Uint32().Draw(t, "first tick"))
		w := newWitness()
		var shadow, truth Framer
		sent := map[string]bool{}
		for now := time.Duration(0); now < 60*time.Millisecond; {
			now += time.Duration(rapid.IntRange(1, 8000).Draw(t, "pause")) * time.Microsecond
			p := slices.Clone(s.to(now))
			for rest := p; ; {
				f, left, ok := truth.Next(rest)
				if !ok {
					break
				}
				sent[string(f.Payload)], rest = true, left
			}
			switch rapid.IntRange(0, 7).Draw(t, "what happens") {
			case 0:
				p = p[rapid.IntRange(0, len(p)).Draw(t, "cut"):]
			case 1:
				p = p[:rapid.IntRange(0, len(p)).Draw(t, "cut")]
			case 2:
				p = nil
			case 3:
				for range rapid.IntRange(1, 20).Draw(t, "flips") {
					if len(p) > 0 {
						p[rapid.IntRange(0, len(p)-1).Draw(t, "where")] ^= rapid.ByteMin(1).Draw(t, "flip")
					}
				}
			case 4:
				at := rapid.IntRange(0, len(p)).Draw(t, "where")
				p = slices.Insert(p, at, rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "noise")...)
			case 5:
				p = append(p, p...) // and what was before stands again behind it
			}
			for rest := p; ; {
				f, left, ok := shadow.Next(rest)
				if !ok {
					break
				}
				if rest = left; f.Type.FromProbe() && !sent[string(f.Payload)] {
					return // by chance
				}
			}
			s.taken.now = now
			s.taken.received(p, w)
		}
		s.check(t, w)
	})
}

func TestWhatTheProbeSaysIsLostIsLost(t *testing.T) {
	hello := testHello()
	var d delivery
	d.begin(&epoch{Nanos: 62.5}, hello)
	w := newWitness()
	stretch := func(start uint32, levels, flags uint8, items ...Item) {
		s := Stretch{Start: start, Length: 16000, Levels: levels, Flags: flags, tracks: 2}
		s.Items[0] = items
		require.NoError(t, d.frame(TypeStretch, s.Append(nil), w))
	}
	ms := time.Millisecond
	held := 176 * 62500 * time.Nanosecond / 1000
	stretch(0, 1, 0, MakeItem(CodeNegative, 8000))
	stretch(16000, 2, LostEdgesMain, MakeItem(CodePositive, 100))
	stretch(32000, 2, LostEdgesMain)
	stretch(48000, 1, 0)
	stretch(64000, 1, 0)
	require.Empty(t, w.faults)
	assert.Equal(t, [][2]time.Duration{{ms - held, 2 * ms}, {2 * ms, 3 * ms}}, w.tracks[0].lost)
	assert.Equal(t, []signal.Edge{{Time: 0, Level: 1}, {Time: ms / 2, Level: -1}, {Time: 3 * ms, Level: 1}}, w.tracks[0].edges)
	assert.Empty(t, w.tracks[1].lost, "the other track is none the worse")
}

func TestAnEdgeThatIsMissingBetweenTwoStretchesIsALoss(t *testing.T) {
	var d delivery
	d.begin(&epoch{Nanos: 62.5}, testHello())
	w := newWitness()
	for i, level := range []uint8{1, 2} {
		s := Stretch{Start: uint32(i) * 16000, Length: 16000, Levels: level, tracks: 2}
		require.NoError(t, d.frame(TypeStretch, s.Append(nil), w))
	}
	assert.Len(t, w.tracks[0].lost, 1)
	assert.Equal(t, time.Millisecond, w.tracks[0].lost[0][1])
}

func TestATrackThatIsNotLookedAtHasNoEdges(t *testing.T) {
	var d delivery
	d.begin(&epoch{Nanos: 62.5}, testHello())
	w := newWitness()
	for i, level := range []uint8{1, 3, 3, 2, 2} {
		s := Stretch{Start: uint32(i) * 16000, Length: 16000, Levels: level | 3<<2, tracks: 2}
		require.NoError(t, d.frame(TypeStretch, s.Append(nil), w))
	}
	assert.Empty(t, w.tracks[1].edges)
	assert.Empty(t, w.tracks[1].lost)
	require.Len(t, w.tracks[0].lost, 1)
	assert.Equal(t, 3*time.Millisecond, w.tracks[0].lost[0][1])
	assert.Equal(t, signal.Edge{Time: 3 * time.Millisecond, Level: -1}, w.tracks[0].edges[1])
	require.Empty(t, w.faults)
}

func TestTheOffDelayIsTakenOffAndTheNoiseInItWithIt(t *testing.T) {
	var d delivery
	d.begin(&epoch{Nanos: 62.5}, testHello()) // 160 ticks on the main track
	w := newWitness()
	for i, items := range [][]Item{
		{MakeItem(CodeNegative, 8000), MakeItem(CodePositive, 7950)}, // that one is noise: the voltage went at 15960
		{MakeItem(CodeOff, 100), MakeItem(CodePositive, 5000)},
		{}, {},
	} {
		levels := []uint8{1, 1, 1, 1}
		if i == 1 {
			levels[1] = 1
		}
		s := Stretch{Start: uint32(i) * 16000, Length: 16000, Levels: levels[i], tracks: 2}
		s.Items[0] = items
		require.NoError(t, d.frame(TypeStretch, s.Append(nil), w))
	}
	tick := func(n int) time.Duration { return time.Duration(n) * 62500 / 1000 }
	require.Empty(t, w.faults)
	assert.Empty(t, w.tracks[0].lost)
	assert.Equal(t, []signal.Edge{{Time: 0, Level: 1}, {Time: tick(8000), Level: -1}, {Time: tick(15940), Level: 0},
		{Time: tick(21100), Level: 1}}, w.tracks[0].edges)
}

func TestAStretchOutOfPlaceIsNotTaken(t *testing.T) {
	var g gate
	g.begin(&epoch{Nanos: 62.5}, 0)
	at := func(start uint32) []byte { return (&Stretch{Start: start, Length: 16000}).Append(nil) }
	assert.True(t, g.pass(at(0), time.Millisecond))
	assert.False(t, g.pass(at(0), time.Millisecond), "it was there already")
	assert.False(t, g.pass(at(100*16_000_000), 2*time.Millisecond), "100 s ahead after 1 ms")
	assert.True(t, g.pass(at(16_000_000), 2*time.Millisecond), "what was late on its way may be")
	assert.False(t, g.pass([]byte{1, 2}, time.Second))
}

func TestDeliveryAllocatesNothing(t *testing.T) {
	s := newStand(3, 50*time.Microsecond, true, 0)
	s.taken.received(slices.Clone(s.to(200*time.Millisecond)), discard{}) // slices have grown
	p := slices.Clone(s.to(400 * time.Millisecond))
	s.taken.now = time.Hour
	assert.Zero(t, testing.AllocsPerRun(1, func() { s.taken.received(p, discard{}) }))
	assert.Zero(t, s.taken.health.Malformed)
}

func BenchmarkDelivery(b *testing.B) {
	s := newStand(3, 50*time.Microsecond, false, 0)
	p := slices.Clone(s.to(100 * time.Millisecond))
	edges := len(s.courses[0].edges) + len(s.courses[1].edges)
	b.ReportAllocs()
	for b.Loop() {
		s.taken.gate.next, s.taken.takes.next, s.taken.takes.begun, s.taken.takes.complete = 0, 0, false, 0
		s.taken.received(p, discard{})
	}
	b.ReportMetric(float64(b.N)*float64(edges)/b.Elapsed().Seconds(), "edges/s")
	b.SetBytes(int64(len(p)))
}

func TestAStreamMayBeginAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hello := testHello()
		s := &stand{device: NewDevice(DeviceConfig{Hello: *hello}), taken: &Recording{running: true}}
		for i := range s.courses {
			s.courses[i] = newCourse(rapid.Uint64().Draw(t, "seed"), 10*time.Microsecond, true)
		}
		from := time.Duration(rapid.IntRange(0, 3000).Draw(t, "start")) * time.Microsecond
		s.both(from)
		s.device.Receive(AppendFrame(nil, TypeAskHello, 0, []byte{1}))
		s.device.Receive(AppendFrame(nil, TypeStart, 1, Start{1000, 500}.Append(nil)))
		s.device.Sent()
		e := &epoch{Tick: s.device.Tick(from), Nanos: 62.5}
		s.taken.takes.begin(e, hello)
		s.taken.gate.begin(e, 0)
		s.both(from + 5*time.Millisecond)
		w := newWitness()
		s.taken.received(s.device.Sent(), w)
		for i, c := range s.courses {
			require.Empty(t, w.compare(i, c, from), "track %d", i)
		}
	})
}
