package live

import (
	"fmt"
	"runtime"
	"slices"
	"testing"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

// A writer makes the edges of packets.
type writer struct {
	now   time.Duration
	level signal.Level
	edges []signal.Edge
}

func newWriter() *writer {
	return &writer{level: signal.Positive, edges: []signal.Edge{{Level: signal.Positive}}}
}

func (w *writer) half(d time.Duration) {
	w.now += d
	w.level = -w.level
	w.edges = append(w.edges, signal.Edge{Time: w.now, Level: w.level})
}

func (w *writer) bit(one bool) {
	half := 100 * time.Microsecond
	if one {
		half = 58 * time.Microsecond
	}
	w.half(half)
	w.half(half)
}

// packet sends bytes as they are, with a preamble of 16 ones.
func (w *writer) packet(bytes ...byte) *writer {
	for range 16 {
		w.bit(true)
	}
	for _, b := range bytes {
		w.bit(false)
		for i := 7; i >= 0; i-- {
			w.bit(b>>i&1 == 1)
		}
	}
	w.bit(true)
	return w
}

// send sends an instruction.
func (w *writer) send(t require.TestingT, i dcc.Instruction) *writer {
	p, err := i.Packet()
	require.NoError(t, err)
	return w.packet(p...)
}

func (w *writer) off(d time.Duration) *writer {
	w.edges = append(w.edges, signal.Edge{Time: w.now, Level: signal.Off})
	w.now += d
	w.edges = append(w.edges, signal.Edge{Time: w.now, Level: w.level})
	return w
}

func speed(step int) dcc.Instruction {
	return dcc.Speed{Address: dcc.Address{Number: 3}, Steps: dcc.Steps128, Direction: dcc.Forward, Step: step}
}

func snapshotOf(t *Track) *Snapshot {
	s := new(Snapshot)
	t.Snapshot(s)
	return s
}

// meanings are the lines as text, with their counts.
func meanings(s *Snapshot) []string {
	var all []string
	for _, l := range s.Lines {
		text := l.Meaning
		if !l.IsPacket() {
			text = string(l.Reason)
		}
		if l.Fault != signal.None {
			text = l.Fault.String()
		}
		all = append(all, fmt.Sprintf("%s ×%d", text, l.Count))
	}
	return all
}

func TestWhatIsSaidAgainIsCountedAndWhatIsNewIsListed(t *testing.T) {
	w := newWriter()
	for range 3 {
		w.send(t, speed(5)).send(t, dcc.Idle{})
	}
	w.send(t, speed(6)).send(t, speed(6)).send(t, speed(5))
	w.packet(3, 4, 5).packet(3, 4, 5)
	track := NewTrack(Options{})
	track.Edges(w.edges)
	track.Finish(w.now)
	s := snapshotOf(track)
	five, six := speed(5).String(), speed(6).String()
	assert.Equal(t, []string{five + " ×3", "idle ×3", six + " ×2", five + " ×1", "bad error byte ×2"}, meanings(s))
	assert.EqualValues(t, 11, s.Total.Packets)
	assert.EqualValues(t, 6, s.Folded)
	assert.EqualValues(t, 2, s.Recent.Invalid)
	first := s.Lines[0]
	assert.EqualValues(t, 1, first.Number)
	assert.Greater(t, first.Last, first.First)
	assert.Equal(t, "03 3f 86 ba", fmt.Sprintf("% x", []byte(first.Bytes())))
}

func TestWhatIsSaidAgainAfterAPauseIsNews(t *testing.T) {
	w := newWriter()
	w.send(t, speed(5)).send(t, speed(5))
	for w.now < 3*time.Second {
		w.send(t, dcc.Idle{})
	}
	w.send(t, speed(5))
	track := NewTrack(Options{})
	track.Edges(w.edges)
	got := meanings(snapshotOf(track))
	require.Len(t, got, 3)
	assert.Equal(t, speed(5).String()+" ×1", got[2])
}

func TestShortOffStatesAreFoldedAndLongOnesStandAlone(t *testing.T) {
	w := newWriter()
	for range 4 {
		w.send(t, dcc.Idle{}).off(450 * time.Microsecond)
	}
	w.send(t, dcc.Idle{}).off(time.Second).send(t, dcc.Idle{}).off(time.Second).send(t, dcc.Idle{})
	track := NewTrack(Options{})
	track.Edges(w.edges)
	s := snapshotOf(track)
	assert.Equal(t, []string{"idle ×7", "off ×4", "off ×1", "off ×1"}, meanings(s))
	assert.Equal(t, 4*450*time.Microsecond, s.Lines[1].Unusable)
	assert.Equal(t, time.Second, s.Lines[3].Unusable)
}

func TestTheListIsBoundedAndTheNewestStay(t *testing.T) {
	track := NewTrack(Options{Lines: 10})
	w := newWriter()
	for i := range 25 {
		w.send(t, speed(i+1))
	}
	track.Edges(w.edges)
	s := snapshotOf(track)
	require.Len(t, s.Lines, 10)
	assert.EqualValues(t, 16, s.Lines[0].Number)
	assert.Equal(t, speed(25).String(), s.Lines[9].Meaning)
	assert.LessOrEqual(t, len(track.lines.told), 10)
}

func TestAStateIsWhatTheLastEdgeAndTheTimeSince(t *testing.T) {
	track := NewTrack(Options{})
	assert.Equal(t, Unknown, track.State())
	track.Edges([]signal.Edge{{Level: signal.Off}})
	track.Advance(time.Second)
	assert.Equal(t, Off, track.State())
	track.Edges([]signal.Edge{{Time: time.Second, Level: signal.Negative}})
	assert.Equal(t, Signal, track.State())
	track.Advance(time.Second + steady)
	assert.Equal(t, Signal, track.State())
	track.Advance(time.Second + steady + 1)
	assert.Equal(t, Negative, track.State())
	track.Edges([]signal.Edge{{Time: 2 * time.Second, Level: signal.Positive}})
	track.Advance(3 * time.Second)
	assert.Equal(t, Positive, track.State())
	track.Lost(4*time.Second, 5*time.Second)
	assert.Equal(t, Lost, track.State())
	track.Edges([]signal.Edge{{Time: 6 * time.Second, Level: signal.Positive}})
	assert.Equal(t, Signal, track.State())
}

func TestALostStretchIsCountedAndNoLongHalfBit(t *testing.T) {
	w := newWriter()
	w.send(t, dcc.Idle{})
	track := NewTrack(Options{})
	track.Edges(w.edges)
	from := w.now
	w.edges, w.now = nil, w.now+40*time.Millisecond
	track.Lost(from, w.now)
	w.half(0)
	w.send(t, dcc.Idle{})
	track.Edges(w.edges)
	s := snapshotOf(track)
	assert.EqualValues(t, 1, s.Lost)
	assert.GreaterOrEqual(t, s.LostTime, 40*time.Millisecond)
	assert.EqualValues(t, 2, s.Total.Packets)
	assert.EqualValues(t, 100_000, s.Total.ZeroHalf.Max)
}

func TestTheRecentFiguresForgetAndTheTotalsDoNot(t *testing.T) {
	w := newWriter()
	for w.now < 500*time.Millisecond {
		w.send(t, dcc.Idle{})
	}
	w.half(80 * time.Microsecond)
	w.half(80 * time.Microsecond)
	for w.now < 10*time.Second {
		w.send(t, dcc.Idle{})
	}
	track := NewTrack(Options{})
	track.Edges(w.edges)
	s := snapshotOf(track)
	assert.EqualValues(t, 80_000, s.Total.ZeroHalf.Min)
	assert.Positive(t, s.Total.ZeroHalf.Outside)
	assert.EqualValues(t, 100_000, s.Recent.ZeroHalf.Least)
	assert.EqualValues(t, 58_000, s.Recent.OneHalf.Mean())
	zero, one := Quantities()[1], Quantities()[0]
	assert.EqualValues(t, 5_000, s.Recent.ZeroHalf.Margin(zero.Limit))
	assert.EqualValues(t, 3_000, s.Recent.OneHalf.Margin(one.Limit))
	assert.EqualValues(t, -15_000, Figures{Count: 1, Least: 80_000, Most: 100_000}.Margin(zero.Limit))
	perPacket := w.now / time.Duration(s.Total.Packets)
	assert.InEpsilon(t, float64(time.Second)/float64(perPacket), s.Recent.PacketRate(), 0.02)
	assert.Positive(t, s.Recent.HalfBitRate())
	track.Advance(w.now + time.Minute)
	s = snapshotOf(track)
	assert.Zero(t, s.Recent.PacketRate())
	assert.Zero(t, s.Recent.OneHalf.Count)
}

// samplesOf makes samples of 1 ms, each a number of milliamperes.
func samplesOf(from time.Duration, milliamperes ...int) []current.Sample {
	var all []current.Sample
	for i, m := range milliamperes {
		all = append(all, current.Sample{Time: from + time.Duration(i)*time.Millisecond, Current: physic.ElectricCurrent(m) * physic.MilliAmpere})
	}
	return all
}

func ordinary() Options {
	return Options{
		Trips:        current.TripFilter{Above: physic.Ampere, Nothing: 20 * physic.MilliAmpere, Fall: 5 * time.Millisecond},
		Acknowledges: current.StandardAcknowledge(),
	}
}

func TestTripsAndAcknowledgesAreEvents(t *testing.T) {
	track := NewTrack(ordinary())
	var told []Event
	track.options.Happened = func(e Event) { told = append(told, e) }
	level := func(milliamperes, n int) []int { return slices.Repeat([]int{milliamperes}, n) }
	track.Samples(samplesOf(0, slices.Concat(level(10, 50), level(80, 6), level(10, 50), level(3000, 40), level(0, 20))...))
	s := snapshotOf(track)
	assert.EqualValues(t, 1, s.Trips)
	assert.EqualValues(t, 1, s.Acknowledges)
	require.Len(t, s.Events, 2)
	assert.Equal(t, told, s.Events)
	assert.InDelta(t, 6e6, float64(s.Events[0].Acknowledge.Width), 1e6)
	assert.Equal(t, 3*physic.Ampere, s.Events[1].Trip.Peak)
	assert.True(t, s.Sampled)
	assert.Zero(t, s.Current)
	all := Sum(s.Charts[0])
	assert.Equal(t, Column{Count: 166, Most: 3 * physic.Ampere, sum: all.sum}, all)
	assert.InDelta(t, float64((100*10+6*80+40*3000)/166*int(physic.MilliAmpere)), float64(all.Mean()), 1e7)
	track.Clear()
	s = snapshotOf(track)
	assert.Empty(t, s.Events)
	assert.Zero(t, s.Trips)
	assert.True(t, s.Sampled, "the current goes on")
}

func TestAChartRunsWithTheClock(t *testing.T) {
	track := NewTrack(Options{})
	track.Samples(samplesOf(0, 10, 30))
	track.Samples(samplesOf(250*time.Millisecond, 100))
	track.Advance(420 * time.Millisecond)
	s := snapshotOf(track)
	require.Len(t, s.Charts[0], 5)
	assert.Equal(t, 20*physic.MilliAmpere, s.Charts[0][0].Mean())
	assert.Equal(t, 30*physic.MilliAmpere, s.Charts[0][0].Most)
	assert.Zero(t, s.Charts[0][1].Count)
	assert.Equal(t, 100*physic.MilliAmpere, s.Charts[0][2].Least)
	assert.EqualValues(t, 3, s.Charts[1][0].Count)
	track.Advance(time.Hour)
	s = snapshotOf(track)
	assert.Len(t, s.Charts[0], Columns)
	for _, c := range s.Charts[0] {
		assert.Zero(t, c.Count)
	}
	assert.False(t, s.Sampled)
}

func TestClearedIsWhatWasCountedNotWhatGoesOn(t *testing.T) {
	w := newWriter()
	for w.now < 2*time.Second {
		w.send(t, dcc.Idle{})
	}
	track := NewTrack(Options{})
	half := len(w.edges) / 2
	track.Edges(w.edges[:half])
	track.Clear()
	s := snapshotOf(track)
	assert.Empty(t, s.Lines)
	assert.Zero(t, s.Total.Packets)
	assert.Zero(t, s.Recent.Packets)
	track.Edges(w.edges[half:])
	s = snapshotOf(track)
	require.Len(t, s.Lines, 1)
	assert.Equal(t, s.Total.Packets, s.Lines[0].Count)
	assert.InEpsilon(t, float64(s.Total.Packets)/s.Recent.Span.Seconds(), s.Recent.PacketRate(), 0.001)
}

// comparison is what must not depend on batches.
type comparison struct {
	State   State
	Recent  Recent
	Lines   []Line
	Events  []Event
	Folded  int64
	Counts  [3]int64
	Charts  [len(Spans)][]Column
	Current physic.ElectricCurrent
	Total   signal.StatisticsSummary
	told    []string
}

func TestWhateverTheBatchesAreCutIntoTheResultIsTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWriter()
		packets := rapid.SliceOfN(rapid.IntRange(0, 6), 1, 60).Draw(t, "packets")
		for _, p := range packets {
			switch p {
			case 0:
				w.send(t, dcc.Idle{})
			case 1, 2:
				w.send(t, speed(p))
			case 3:
				w.off(time.Duration(rapid.IntRange(1, 400).Draw(t, "off")) * 100 * time.Microsecond)
			case 4:
				w.packet(1, 2, 9)
			case 5:
				w.half(30 * time.Microsecond)
			case 6:
				w.off(time.Duration(rapid.IntRange(1, 7000).Draw(t, "long off")) * time.Millisecond)
			}
		}
		var milliamperes []int
		for range min(int(w.now/time.Millisecond), 3000) {
			milliamperes = append(milliamperes, rapid.SampledFrom([]int{0, 10, 10, 80, 1500}).Draw(t, "current"))
		}
		samples := samplesOf(0, milliamperes...)
		whole := observe(w, samples, func(int) int { return 1 << 30 }, false)
		size := rapid.IntRange(1, 500)
		cut := observe(w, samples, func(int) int { return size.Draw(t, "batch") }, rapid.Bool().Draw(t, "advanced"))
		require.Equal(t, whole, cut)
	})
}

// observe hands a signal to a track in batches, of edges and samples by turns in order of time, and looks at the end.
func observe(w *writer, samples []current.Sample, size func(int) int, advance bool) comparison {
	o := ordinary()
	var c comparison
	o.News = func(l *Line) { c.told = append(c.told, fmt.Sprint(l.Number, l.First, l.Decided, l.Meaning, l.Reason)) }
	track := NewTrack(o)
	edges := w.edges
	for i := 0; len(edges) > 0; i++ {
		n := min(size(i), len(edges))
		track.Edges(edges[:n])
		until := edges[n-1].Time
		edges = edges[n:]
		m := 0
		for m < len(samples) && samples[m].Time <= until {
			m++
		}
		track.Samples(samples[:m])
		samples = samples[m:]
		if advance && len(edges) > 0 {
			track.Advance((until + edges[0].Time) / 2)
		}
	}
	track.Samples(samples)
	track.Finish(w.now)
	s := snapshotOf(track)
	c.State, c.Recent, c.Lines, c.Events, c.Folded = s.State, s.Recent, s.Lines, s.Events, s.Folded
	c.Counts = [3]int64{s.Trips, s.Acknowledges, s.Lost}
	c.Charts, c.Current, c.Total = s.Charts, s.Current, s.Total.Summary()
	return c
}

// second is one second of a busy track: edges, and samples every half millisecond.
func second(t require.TestingT) ([]signal.Edge, []current.Sample) {
	w := newWriter()
	for i := 0; w.now < 990*time.Millisecond; i++ {
		w.send(t, dcc.Speed{Address: dcc.Address{Number: uint16(1 + i%20)}, Steps: dcc.Steps128, Direction: dcc.Forward, Step: 7})
	}
	var samples []current.Sample
	for i := range 2000 {
		samples = append(samples, current.Sample{Time: time.Duration(i) * 500 * time.Microsecond, Current: 300 * physic.MilliAmpere})
	}
	return w.edges, samples
}

func TestADayTakesAsMuchMemoryAsAMinute(t *testing.T) {
	edges, samples := second(t)
	batch, some := make([]signal.Edge, 0, 200), make([]current.Sample, 0, 20)
	track := NewTrack(ordinary())
	var s Snapshot
	hour := 0
	// Of each minute one second has a signal, so that a day of clock is gone through in a few seconds.
	minute := func(from time.Duration) {
		for i := 0; i < len(edges); i += cap(batch) {
			batch = batch[:0]
			for _, e := range edges[i:min(i+cap(batch), len(edges))] {
				batch = append(batch, signal.Edge{Time: from + e.Time, Level: e.Level})
			}
			track.Edges(batch)
		}
		for i := 0; i < len(samples); i += cap(some) {
			some = some[:0]
			for _, m := range samples[i:min(i+cap(some), len(samples))] {
				some = append(some, current.Sample{Time: from + m.Time, Current: m.Current})
			}
			track.Samples(some)
		}
		track.Edges([]signal.Edge{{Time: from + time.Second, Level: signal.Off}})
		track.Advance(from + time.Minute)
		track.Snapshot(&s)
	}
	inUse := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	var before uint64
	for ; hour < 24; hour++ {
		for i := range 60 {
			minute(time.Duration(hour)*time.Hour + time.Duration(i)*time.Minute)
		}
		if hour == 2 { // the list is full
			before = inUse()
		}
	}
	after := inUse()
	assert.Less(t, int64(after)-int64(before), int64(200_000), "from %d to %d bytes", before, after)
	assert.Equal(t, 24*time.Hour, s.Now)
	assert.Len(t, s.Lines, defaultLines)
	runtime.KeepAlive(track)
}

func TestNothingIsAllocatedForAnEdgeOrASample(t *testing.T) {
	edges, samples := second(t)
	track := NewTrack(ordinary())
	track.Edges(edges)
	track.Samples(samples)
	shift := time.Second
	again, more := slices.Clone(edges), slices.Clone(samples)
	each := testing.AllocsPerRun(5, func() {
		for i := range again {
			again[i].Time = edges[i].Time + shift
		}
		for i := range more {
			more[i].Time = samples[i].Time + shift
		}
		shift += time.Second
		track.Edges(again)
		track.Samples(more)
	})
	packets := float64(track.receiver.Statistics().Packets) / 7
	assert.LessOrEqual(t, each, 2*packets+10, "the meaning of a packet and the second are all, for %d edges", len(edges))
}

func BenchmarkTrack(b *testing.B) {
	edges, samples := second(b)
	again, more := slices.Clone(edges), slices.Clone(samples)
	track := NewTrack(ordinary())
	b.ReportAllocs()
	shift := time.Duration(0)
	for b.Loop() {
		for i := range again {
			again[i].Time = edges[i].Time + shift
		}
		for i := range more {
			more[i].Time = samples[i].Time + shift
		}
		track.Edges(again)
		track.Samples(more)
		shift += time.Second
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(edges)+len(samples)), "ns/edge-or-sample")
}

func BenchmarkSnapshot(b *testing.B) {
	edges, samples := second(b)
	track := NewTrack(ordinary())
	track.Edges(edges)
	track.Samples(samples)
	var s Snapshot
	b.ReportAllocs()
	for b.Loop() {
		track.Snapshot(&s)
	}
}
