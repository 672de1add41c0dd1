package replay

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/probe"
	"bufferstop/harness/probe/analyser"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// read is what was read of one track, as a listing shows it.
type read struct {
	lines []string
	*signal.Receiver
}

func newRead() *read {
	r := &read{}
	r.Receiver = signal.NewReceiver(signal.StationReading(), r)
	return r
}

func (r *read) Packet(p *signal.Packet) {
	r.lines = append(r.lines, fmt.Sprint(p.Start, p.StartBit, p.End, p.Preamble, p.AfterEndBit, p.Bytes, p.Fault))
}
func (r *read) Unusable(u signal.Unusable) { r.lines = append(r.lines, fmt.Sprint(u)) }

// heard is a sink that reads both tracks and holds the rules of a sink.
type heard struct {
	t        require.TestingT
	tracks   [probe.MaxTracks]*read
	edges    [probe.MaxTracks][]signal.Edge
	samples  int
	complete time.Duration
	events   []probe.Event
}

func newHeard(t require.TestingT) *heard {
	return &heard{t: t, tracks: [probe.MaxTracks]*read{newRead(), newRead()}}
}

func (h *heard) Edges(track int, e []signal.Edge) {
	require.GreaterOrEqual(h.t, e[0].Time, h.complete)
	h.tracks[track].Edges(e)
	h.edges[track] = append(h.edges[track], e...)
}
func (h *heard) Samples(_ int, s []current.Sample)      { h.samples += len(s) }
func (h *heard) Lost(int, time.Duration, time.Duration) {}
func (h *heard) Complete(until time.Duration) {
	require.GreaterOrEqual(h.t, until, h.complete)
	for _, edges := range h.edges {
		if n := len(edges); n > 0 {
			require.Less(h.t, edges[n-1].Time, until)
		}
	}
	h.complete = until
}
func (h *heard) Event(e probe.Event) { h.events = append(h.events, e) }

// whole replays a capture to its end.
func whole(t require.TestingT, text string, o Options) (*heard, *Capture) {
	c, err := Open(context.Background(), text, o)
	require.NoError(t, err)
	defer c.Close()
	h := newHeard(t)
	for err == nil {
		require.Len(t, c.Arrived(), 1, "without a pace there is always something")
		<-c.Arrived()
		_, err = c.Pump(context.Background(), time.Hour, h)
	}
	require.Equal(t, io.EOF, err)
	require.Equal(t, []probe.Event{{Time: c.End(), What: probe.CaptureOver}}, h.events)
	require.Equal(t, h.complete, c.End())
	return h, c
}

// decoded reads a file the way decode does.
func decoded(t require.TestingT, path, name string) (*read, time.Duration) {
	c, err := signal.OpenCapture(path, nil)
	require.NoError(t, err)
	defer c.Close()
	if name != "" {
		require.NoError(t, c.Choose(name))
	}
	r := newRead()
	buf := make([]signal.Edge, 4096)
	for err == nil {
		var n int
		n, err = c.Read(buf)
		r.Edges(buf[:n])
	}
	require.Equal(t, io.EOF, err)
	r.Finish(c.End())
	return r, c.End()
}

// same holds that a replay has read what decode reads.
func same(t require.TestingT, want *read, end time.Duration, got *read) {
	got.Finish(end)
	require.Equal(t, want.lines, got.lines)
	require.Equal(t, want.Statistics(), got.Statistics())
}

// draw draws a track signal with all that may happen to one, of which the first edge is at 0.
func draw(t *rapid.T, label string) []signal.Edge {
	random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, label), 1))
	now, level := time.Duration(0), signal.Positive
	edges := []signal.Edge{{Time: 0, Level: level}}
	half := func(d time.Duration) {
		now, level = now+d, -level
		edges = append(edges, signal.Edge{Time: now, Level: level})
	}
	for range 1 + random.IntN(12) {
		switch random.IntN(6) {
		case 0: // an off
			edges = append(edges, signal.Edge{Time: now + 30_000, Level: signal.Off})
			now += time.Duration(100_000 + random.Int64N(5e6))
			edges = append(edges, signal.Edge{Time: now, Level: level})
		case 1: // a glitch
			half(time.Duration(1 + random.Int64N(20_000)))
			half(time.Duration(1 + random.Int64N(20_000)))
		}
		packet := dcc.Seal(byte(random.IntN(256)), byte(random.IntN(256)))
		if random.IntN(5) == 0 {
			packet[0]++
		}
		for _, bit := range packet.AppendBits(nil, 14+random.IntN(6)) {
			d := 95*time.Microsecond + time.Duration(random.Int64N(30_000))
			if bit == 1 {
				d = 55*time.Microsecond + time.Duration(random.Int64N(6_000))
			}
			half(d)
			half(d)
		}
	}
	return edges
}

// write writes tracks into a dump.
func write(t require.TestingT, path string, names []string, tracks ...[]signal.Edge) {
	var file bytes.Buffer
	w := signal.NewVCDWriter(&file, names...)
	for {
		next := -1
		for i, edges := range tracks {
			if len(edges) > 0 && (next < 0 || edges[0].Time < tracks[next][0].Time) {
				next = i
			}
		}
		if next < 0 {
			break
		}
		require.NoError(t, w.Edge(next, tracks[next][0]))
		tracks[next] = tracks[next][1:]
	}
	require.NoError(t, w.Close())
	require.NoError(t, os.WriteFile(path, file.Bytes(), 0o600))
}

func TestADumpIsReplayedAsDecodeReadsIt(t *testing.T) {
	path := filepath.Join(t.TempDir(), "two.vcd")
	rapid.Check(t, func(t *rapid.T) {
		write(t, path, []string{"main", "programming"}, draw(t, "main"), draw(t, "programming"))
		step := time.Duration(rapid.Int64Range(50_000, 1e9).Draw(t, "step"))
		h, c := whole(t, "file:"+path, Options{Step: step})
		require.Len(t, c.Hello().Tracks, 2)
		require.True(t, func() bool { hello := c.Hello(); return hello.Has(probe.SeesEdges | probe.SeesOff) }())
		require.EqualValues(t, 1e9, c.Hello().Clock)
		for track, name := range trackNames {
			want, end := decoded(t, path, name)
			same(t, want, end, h.tracks[track])
		}
	})
}

func TestASignalIsChosenAndAskedForTheTrackThatItIs(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.vcd")
	one := []signal.Edge{{Time: 0, Level: signal.Positive}, {Time: 5000, Level: signal.Negative}}
	other := []signal.Edge{{Time: 0, Level: signal.Negative}, {Time: 7000, Level: signal.Positive}}
	write(t, path, []string{"a", "b"}, one, other)
	h, c := whole(t, "file:"+path+"?track=programming&signal=b", Options{})
	assert.Equal(t, other, h.edges[probe.Programming])
	assert.Empty(t, h.edges[probe.Main])
	assert.Len(t, c.Hello().Tracks, 1)
	h, _ = whole(t, "file:"+path+"?signal=b&signal=a", Options{})
	assert.Equal(t, [probe.MaxTracks][]signal.Edge{other, one}, h.edges)

	c, err := Open(t.Context(), "file:"+path, Options{})
	require.NoError(t, err)
	_, err = c.Pump(t.Context(), 0, newHeard(t))
	require.NoError(t, err)
	_, err = c.Pump(t.Context(), 0, newHeard(t))
	var choice *signal.ChoiceError
	require.ErrorAs(t, err, &choice)
	require.NoError(t, c.Close())
	_, err = Open(t.Context(), "file:"+path+"?signal=c", Options{})
	require.ErrorAs(t, err, &choice)
	_, err = Open(t.Context(), "file:"+path+"x", Options{})
	require.ErrorIs(t, err, os.ErrNotExist)
}

func TestStandardInputIsReadOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.vcd")
	one := []signal.Edge{{Time: 0, Level: signal.Positive}, {Time: 5000, Level: signal.Negative}}
	write(t, path, []string{"a"}, one)
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	h, _ := whole(t, "file:-", Options{Stdin: file})
	assert.Equal(t, one, h.edges[0])
}

func TestWhatIsHeldBackComesAtTheEnd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.vcd")
	level := func(at time.Duration, l signal.Level) signal.Edge { return signal.Edge{Time: at, Level: l} }
	write(t, path, []string{"sign", "absent"}, []signal.Edge{level(0, signal.Positive), level(50_000, signal.Negative), level(100_000, signal.Positive)},
		[]signal.Edge{level(0, signal.Negative)})
	h, _ := whole(t, "file:"+path+"?signal=sign&absent=absent", Options{})
	assert.Equal(t, []signal.Edge{level(0, signal.Positive), level(50_000, signal.Negative), level(100_000, signal.Positive)}, h.edges[0])
	write(t, path, []string{"p", "n"}, []signal.Edge{level(0, signal.Positive), level(50_000, signal.Negative)},
		[]signal.Edge{level(0, signal.Negative), level(70_000, signal.Off)})
	h, _ = whole(t, "file:"+path+"?positive=p&negative=n", Options{})
	assert.Equal(t, []signal.Edge{level(0, signal.Positive), level(50_000, signal.Off)}, h.edges[0])
}

// comparators makes of levels what two comparators show, with a gap about each reversal.
func comparators(edges []signal.Edge, gap time.Duration) (positive, negative []signal.Edge) {
	show := func(to *[]signal.Edge, at time.Duration, high bool) {
		level := signal.Negative
		if high {
			level = signal.Positive
		}
		*to = append(*to, signal.Edge{Time: at, Level: level})
	}
	before := signal.Off
	for _, e := range edges {
		rise, fall := e.Time, e.Time
		if before != signal.Off && e.Level != signal.Off {
			rise, fall = e.Time+gap/2, e.Time-gap/2
		}
		if before == signal.Positive {
			show(&positive, fall, false)
		}
		if before == signal.Negative {
			show(&negative, fall, false)
		}
		if e.Level == signal.Positive {
			show(&positive, rise, true)
		}
		if e.Level == signal.Negative {
			show(&negative, rise, true)
		}
		before = e.Level
	}
	return positive, negative
}

func TestTwoComparatorsInADumpAreOneTrack(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.vcd")
	rapid.Check(t, func(t *rapid.T) {
		edges := draw(t, "track")
		for i := 1; i < len(edges); i++ { // no glitches: the comparators could not show them
			if edges[i].Time-edges[i-1].Time < 30_000 {
				t.Skip("a glitch")
			}
		}
		gap := time.Duration(2 * rapid.Int64Range(0, 4000).Draw(t, "half of the gap"))
		positive, negative := comparators(edges, gap)
		if len(positive) == 0 || positive[0].Time != 0 || len(negative) == 0 {
			t.Skip("one polarity only")
		}
		negative = append([]signal.Edge{{Time: 0, Level: signal.Negative}}, negative...)
		write(t, path, []string{"p", "n"}, positive, negative)
		h, c := whole(t, "file:"+path+"?positive=p&negative=n", Options{Step: time.Duration(rapid.Int64Range(50_000, 1e8).Draw(t, "step"))})
		require.Equal(t, edges, h.edges[0])
		require.True(t, func() bool { hello := c.Hello(); return hello.Has(probe.SeesOff) }())
	})
}

func TestALongOffDelayHoldsNothingUp(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.vcd")
	write(t, path, []string{"p", "n"}, []signal.Edge{{Time: 0, Level: signal.Positive}, {Time: 2e6, Level: signal.Negative}, {Time: 50e6, Level: signal.Positive}},
		[]signal.Edge{{Time: 0, Level: signal.Negative}})
	h, _ := whole(t, "file:"+path+"?positive=p&negative=n&off=1ms", Options{Step: 100 * time.Microsecond})
	assert.Equal(t, []signal.Edge{{Time: 0, Level: signal.Positive}, {Time: 2e6, Level: signal.Off}, {Time: 50e6, Level: signal.Positive}}, h.edges[0])
}

func TestWhatIsWrongInAFileIsToldBehindWhatIsRight(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.vcd")
	require.NoError(t, os.WriteFile(path, []byte("$timescale 1 us $end\n$var wire 1 ! a $end\n$enddefinitions $end\n#0 1!\n#5 0!\n#9 1!\n#8 0!\n"), 0o600))
	c, err := Open(t.Context(), "file:"+path, Options{})
	require.NoError(t, err)
	defer c.Close()
	h := newHeard(t)
	for err == nil {
		_, err = c.Pump(t.Context(), 0, h)
	}
	var wrong *signal.SyntaxError
	require.ErrorAs(t, err, &wrong)
	assert.Equal(t, 7, wrong.Line)
	assert.Len(t, h.edges[0], 2)
	assert.Empty(t, h.events, "it is not over, it is broken")
	assert.EqualValues(t, 1e6, c.Hello().Clock)
}

func TestARealPaceFollowsTheClock(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.vcd")
	var edges []signal.Edge
	for i := range 200 {
		edges = append(edges, signal.Edge{Time: time.Duration(i) * 100 * time.Microsecond, Level: signal.Level(1 - 2*(i&1))})
	}
	write(t, path, []string{"a"}, edges)
	clock := &link.VirtualClock{}
	require.NoError(t, clock.Wait(t.Context(), time.Hour))
	c, err := Open(t.Context(), "file:"+path+"?pace=2", Options{Clock: clock})
	require.NoError(t, err)
	defer c.Close()
	h := newHeard(t)
	some, err := c.Pump(t.Context(), 100*time.Microsecond, h)
	require.NoError(t, err)
	assert.False(t, some, "1 ms is due after half a millisecond")
	some, err = c.Pump(t.Context(), time.Second, h)
	require.NoError(t, err)
	assert.True(t, some)
	assert.Equal(t, time.Hour+500*time.Microsecond, clock.Now())
	assert.Equal(t, time.Millisecond, h.complete)
	for err == nil {
		_, err = c.Pump(t.Context(), time.Second, h)
		assert.GreaterOrEqual(t, 2*(clock.Now()-time.Hour), h.complete)
	}
	require.Equal(t, io.EOF, err)
	assert.Equal(t, edges, h.edges[0])
}

func TestArrivedSignalsWhenAStepIsDue(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.vcd")
	write(t, path, []string{"a"}, []signal.Edge{{Time: 0, Level: signal.Positive}, {Time: 30e6, Level: signal.Negative}})
	c, err := Open(t.Context(), "file:"+path+"?pace=real", Options{})
	require.NoError(t, err)
	defer c.Close()
	h := newHeard(t)
	start := time.Now()
	for err == nil {
		select {
		case <-c.Arrived():
			_, err = c.Pump(t.Context(), 0, h)
		case <-time.After(20 * time.Second):
			require.Fail(t, "nothing arrives")
		}
	}
	require.Equal(t, io.EOF, err)
	assert.GreaterOrEqual(t, time.Since(start), 30*time.Millisecond)
	assert.Len(t, h.edges[0], 2)
	require.NoError(t, c.Close())
	_, err = c.Pump(t.Context(), 0, h)
	require.ErrorIs(t, err, probe.ErrClosed)
}

// The recordings of real layouts lie beside the project; they are not part of it.
func fieldCapture(t testing.TB, name string) string {
	path := filepath.Join("..", "..", "..", "..", "shared", "captures", name)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("the field captures are not here: %v", err)
	}
	return path
}

var fieldCaptures = []string{"light-address-2.vcd.gz", "accessory-310.vcd.gz", "accessory-120-121.vcd.gz"}

func TestFieldCapturesAreReplayedAsDecodeReadsThem(t *testing.T) {
	for _, name := range fieldCaptures {
		path := fieldCapture(t, name)
		want, end := decoded(t, path, "")
		require.Greater(t, want.Statistics().Packets, int64(100))
		h, _ := whole(t, "file:"+path, Options{})
		same(t, want, end, h.tracks[0])
	}
}

// sigrok-cli reads a field capture and writes a session file and a dump of its own: both give the same signal.
func TestFieldCapturesThatSigrokConvertedAreReplayedTheSame(t *testing.T) {
	cli, err := exec.LookPath(analyser.Program)
	if err != nil {
		t.Skip("sigrok-cli is not installed; it converts the captures of this test")
	}
	path := fieldCapture(t, fieldCaptures[0])
	folder := t.TempDir()
	plain := filepath.Join(folder, "plain.vcd")
	unpacked, err := exec.Command("gzip", "-dc", path).Output()
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(plain, unpacked, 0o600))
	want, _ := decoded(t, path, "")
	about, err := exec.Command(cli, "-i", plain, "--show").Output()
	require.NoError(t, err)
	for _, name := range []string{"converted.sr", "converted.vcd"} {
		to := filepath.Join(folder, name)
		format := strings.TrimPrefix(filepath.Ext(name), ".")
		out, err := exec.Command(cli, "-i", plain, "-o", to, "-O", map[string]string{"sr": "srzip", "vcd": "vcd"}[format]).CombinedOutput()
		require.NoError(t, err, "%s %s", out, about)
		if format == "vcd" { // sigrok-cli 0.7.2 puts a line of its own before what it has converted
			text, err := os.ReadFile(to)
			require.NoError(t, err)
			_, text, _ = bytes.Cut(text, []byte("META samplerate: 1000000\n"))
			require.NoError(t, os.WriteFile(to, text, 0o600))
		}
		h, c := whole(t, "file:"+to, Options{})
		assert.EqualValues(t, 1e6, c.Hello().Clock, name)
		got := h.tracks[0]
		got.Finish(h.complete)
		// sigrok starts at another zero and ends with the last sample; the packets between are the same.
		require.Equal(t, want.Statistics().Packets, got.Statistics().Packets, name)
		assert.Equal(t, want.Statistics().ZeroHalf, got.Statistics().ZeroHalf, name)
		assert.Equal(t, want.Statistics().OneHalf, got.Statistics().OneHalf, name)
	}
}

func TestASessionThatIsNoneOrNamesNoChannelIsRefused(t *testing.T) {
	if _, err := exec.LookPath(analyser.Program); err != nil {
		t.Skip("sigrok-cli is not installed; it reads the session files of this test")
	}
	folder := t.TempDir()
	broken := filepath.Join(folder, "broken.sr")
	require.NoError(t, os.WriteFile(broken, []byte("PK\x03\x04 and no more"), 0o600))
	_, err := Open(t.Context(), "file:"+broken, Options{})
	require.ErrorContains(t, err, "broken.sr")
	good := filepath.Join(folder, "good.sr")
	out, err := exec.Command(analyser.Program, "-d", "demo", "-c", "samplerate=24m", "-C", "D0,D1,D2,D3,D4,D5", "--samples", "1000", "-o", good).CombinedOutput()
	require.NoError(t, err, "%s", out)
	_, err = Open(t.Context(), "file:"+good, Options{})
	require.ErrorContains(t, err, `got none, want one of`)
	_, err = Open(t.Context(), "file:"+good+"?signal=D9", Options{})
	require.ErrorContains(t, err, `got "D9", want one of`)
	h, c := whole(t, "file:"+good+"?signal=D2&signal=D5", Options{})
	dump := filepath.Join(folder, "good.vcd")
	out, err = exec.Command(analyser.Program, "-d", "demo", "-c", "samplerate=24m", "-C", "D0,D1,D2,D3,D4,D5", "--samples", "1000", "-O", "vcd", "-o", dump).CombinedOutput()
	require.NoError(t, err, "%s", out)
	h2, c2 := whole(t, "file:"+dump+"?signal=D2&signal=D5", Options{})
	assert.EqualValues(t, 24e6, c2.Hello().Clock, "the time scale of the dump is finer than its samples")
	assert.Len(t, h2.edges[0], len(h.edges[0]))
	assert.EqualValues(t, 24e6, c.Hello().Clock)
	assert.NotEmpty(t, h.edges[1])
	assert.Equal(t, time.Duration(41667), h.complete, "1000 samples at 24 MHz")
}

func BenchmarkReplay(b *testing.B) {
	path := fieldCapture(b, fieldCaptures[2])
	edges := 0
	for b.Loop() {
		h, _ := whole(b, "file:"+path, Options{})
		edges += len(h.edges[0])
	}
	b.ReportMetric(float64(edges)/b.Elapsed().Seconds(), "edges/s")
}
