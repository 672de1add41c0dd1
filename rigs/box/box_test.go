//go:build simavr

package box

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"bufferstop/harness/current"
	protocol "bufferstop/harness/probe"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/rigs/firmware"
	"bufferstop/rigs/processor"
	"bufferstop/rigs/processor/imagetest"
	"bufferstop/rigs/wire"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var buildFolder string

func TestMain(m *testing.M) {
	var err error
	if buildFolder, err = os.MkdirTemp("", "bufferstop-box-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	_ = os.RemoveAll(buildFolder)
	os.Exit(code)
}

// built are the images of the reference station and of the probes, built once.
var built = sync.OnceValues(func() (map[string]*processor.Image, error) {
	images := map[string]*processor.Image{}
	for folder, names := range map[string][]string{
		"../firmware/reference": {"station"},
		"../bench/probe":        {"probe-atmega2560", "probe-atmega328p"},
	} {
		if out, err := exec.Command("make", "-s", "-C", folder, "OUT="+buildFolder).CombinedOutput(); err != nil {
			return nil, fmt.Errorf("%s: %w: %s", folder, err, out)
		}
		for _, name := range names {
			image, err := processor.LoadImage(filepath.Join(buildFolder, name+".elf"))
			if err != nil {
				return nil, err
			}
			images[name] = image
		}
	}
	return images, nil
})

// options are those of the reference firmware with the probe of a processor.
func options(t testing.TB, mcu string) Options {
	t.Helper()
	imagetest.NeedCompiler(t)
	images, err := built()
	require.NoError(t, err)
	data, err := os.ReadFile("../firmware/reference.rig.toml")
	require.NoError(t, err)
	file, err := firmware.Parse("reference.rig.toml", data)
	require.NoError(t, err)
	board, err := BoardOf(mcu)
	require.NoError(t, err)
	return Options{Station: file, StationImage: images["station"], Board: board, ProbeImage: images["probe-"+mcu]}
}

func opened(t testing.TB, o Options) *Box {
	t.Helper()
	b, err := Open(o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return b
}

// A host speaks with a box in virtual time.
type host struct {
	t       testing.TB
	box     *Box
	framer  protocol.Framer
	seq     uint8
	tracks  int
	said    string // by the station
	answers []protocol.Message
	edges   [protocol.MaxTracks][]tickEdge
	counts  [protocol.MaxTracks][]uint16
	until   uint32
	ticks   int64 // of until, without wraps
	lost    bool
	quiet   bool // gives no sign of life
	hello   *protocol.Hello
}

type tickEdge struct {
	tick  int64
	level protocol.Code
}

func newHost(t testing.TB, b *Box) *host {
	h := &host{t: t, box: b, tracks: len(b.options.Board.Tracks)}
	h.wait(300 * time.Millisecond) // the station starts up
	h.hello = ask[*protocol.Hello](h, protocol.AskHello{Version: protocol.Version})
	return h
}

// wait lets time pass, with a sign of life every 20 ms.
func (h *host) wait(d time.Duration) {
	for to := h.box.Now() + d; h.box.Now() < to; {
		if !h.quiet {
			h.send(protocol.Alive{})
		}
		require.NoError(h.t, h.box.Advance(h.t.Context(), min(to, h.box.Now()+20*time.Millisecond)))
		h.take()
	}
}

func (h *host) send(m protocol.Message) {
	h.box.ProbeLine().ToStation.Put(h.box.Now(), protocol.AppendFrame(nil, m.Type(), h.seq, m.Append(nil)))
	h.seq++
}

// take takes what has come from both.
func (h *host) take() {
	var b [4096]byte
	for _, l := range []*wire.Line{h.box.ProbeLine(), h.box.StationLine()} {
		for n := l.ToHost.Take(h.box.Now(), b[:]); n > 0; n = l.ToHost.Take(h.box.Now(), b[:]) {
			if l == h.box.StationLine() {
				h.said += string(b[:n])
				continue
			}
			for rest := b[:n]; len(rest) > 0; {
				var f protocol.Frame
				var ok bool
				if f, rest, ok = h.framer.Next(rest); ok {
					h.frame(f)
				}
			}
		}
	}
}

func (h *host) frame(f protocol.Frame) {
	m, err := protocol.ParseReport(f.Type, f.Payload, h.tracks)
	require.NoError(h.t, err)
	s, ok := m.(*protocol.Stretch)
	if !ok {
		h.answers = append(h.answers, m)
		return
	}
	if h.until != 0 && s.Start != h.until {
		h.lost = true
	}
	at := h.ticks + int64(int32(s.Start-h.until))
	h.lost = h.lost || s.Flags != 0
	h.until, h.ticks = s.Start+uint32(s.Length), at+int64(s.Length)
	for k := range h.tracks {
		tick := at
		for _, item := range s.Items[k] {
			tick += int64(item.Delta())
			if item.Code() != protocol.CodeNone {
				h.edges[k] = append(h.edges[k], tickEdge{tick, item.Code()})
			}
		}
	}
	for i, v := range s.Values {
		k := (int(s.First) + i) % h.tracks
		h.counts[k] = append(h.counts[k], v)
	}
}

// ask sends a command and waits for the answer of a type.
func ask[M protocol.Message](h *host, m protocol.Message) M {
	h.t.Helper()
	h.answers = h.answers[:0]
	h.send(m)
	for range 100 {
		h.wait(time.Millisecond)
		for _, a := range h.answers {
			if found, ok := a.(M); ok {
				return found
			}
		}
	}
	var none M
	require.Failf(h.t, "no answer", "to %#v, but %#v", m, h.answers)
	return none
}

// tell sends the station a message and returns what it says in the time.
func (h *host) tell(text string, d time.Duration) string {
	h.said = ""
	h.box.StationLine().ToStation.Put(h.box.Now(), []byte(text))
	h.wait(d)
	return h.said
}

// truth keeps what is on the rails, to the nanosecond.
type truth struct{ edges []signal.Edge }

func (s *truth) Edges(e []signal.Edge)    { s.edges = append(s.edges, e...) }
func (s *truth) Samples([]current.Sample) {}

func watch(b *Box, track int) *truth {
	s := new(truth)
	b.tracks[track].Output.Track(b).Listen(s)
	s.edges = s.edges[:0]
	return s
}

// What the probe tells of the tracks is what was on the rails, cycle for cycle: also where the supply's crystal and the probe's
// differ, and then by as much.
func TestTheProbeTellsEveryEdgeOfBothTracksAtItsCycle(t *testing.T) {
	for _, ppm := range []float64{0, 100, -37.5} {
		t.Run(fmt.Sprint(ppm, " ppm"), func(t *testing.T) {
			o := options(t, "atmega2560")
			o.PPM = ppm
			b := opened(t, o)
			h := newHost(t, b)
			ask[protocol.Done](h, protocol.Start{StretchMicros: 1000, SampleMicros: 500})
			rails := [2]*truth{watch(b, 0), watch(b, 1)}
			h.wait(5 * time.Millisecond)
			h.edges = [protocol.MaxTracks][]tickEdge{}
			h.tell("TRAC:POW MAIN,ON\nTRAC:POW PROG,ON\nLOCO:SPE 3,10,FORW\n", 500*time.Millisecond)
			h.tell("TRAC:POW MAIN,OFF\nTRAC:POW PROG,OFF\n", 50*time.Millisecond)
			require.False(t, h.lost)
			for k, rail := range rails {
				told := h.edges[k]
				require.Len(t, told, len(rail.edges), "track %d", k)
				require.Greater(t, len(told), 5000)
				first, begun := b.probe.clock.cycles(rail.edges[1].Time), told[1].tick
				off := b.probe.clock.cycles(offDelay) // which the host takes away, see the HELLO
				for i, e := range rail.edges {
					want := int64(b.probe.clock.cycles(e.Time) - first)
					if e.Level == signal.Off {
						want += int64(off)
					}
					require.Equal(t, protocol.CodeOf(e.Level), told[i].level, "edge %d of track %d", i, k)
					slack := 1.0
					if e.Level == signal.Off || i == 0 || rail.edges[i-1].Level == signal.Off {
						slack = 80 // it came by an interrupt
					}
					require.InDelta(t, want, told[i].tick-begun, slack, "edge %d of track %d, in ticks", i, k)
				}
			}
		})
	}
}

func TestAProbeOfOneTrackSeesTheProgrammingTrackAndLoadsIt(t *testing.T) {
	b := opened(t, options(t, "atmega328p"))
	h := newHost(t, b)
	require.Len(t, h.hello.Tracks, 1)
	require.Equal(t, uint8(protocol.Programming), h.hello.Tracks[0].ID)
	ask[protocol.Done](h, protocol.Start{StretchMicros: 1000, SampleMicros: 500})
	rail := watch(b, 1)
	h.wait(5 * time.Millisecond)
	h.edges[0] = nil
	h.tell("TRAC:POW MAIN,ON\nTRAC:POW PROG,ON\n", 200*time.Millisecond)
	load := &protocol.Load{Track: protocol.Programming, Count: 1}
	load.Steps[0] = protocol.Step{Level: 21}
	ask[protocol.Done](h, load)
	h.wait(10 * time.Millisecond)
	h.counts[0] = nil
	h.wait(20 * time.Millisecond)
	require.NotEmpty(t, h.counts[0])
	for _, c := range h.counts[0] {
		require.InDelta(t, 210, float64(c)*float64(h.hello.Tracks[0].SenseMicroamps)/1000, 2, "milliamperes")
	}
	h.tell("TRAC:POW PROG,OFF\n", 20*time.Millisecond)
	require.False(t, h.lost)
	require.Len(t, h.edges[0], len(rail.edges))
	for i := 2; i < len(rail.edges)-1; i++ {
		want := b.probe.clock.cycles(rail.edges[i].Time) - b.probe.clock.cycles(rail.edges[i-1].Time)
		require.InDelta(t, want, h.edges[0][i].tick-h.edges[0][i-1].tick, 1, "edge %d", i)
	}
}

func TestTheLoadDrawsItsCurrentAndBothConvertersSeeIt(t *testing.T) {
	b := opened(t, options(t, "atmega2560"))
	h := newHost(t, b)
	h.tell("TRAC:POW MAIN,ON\nTRAC:POW PROG,ON\n", 100*time.Millisecond)
	ask[protocol.Done](h, protocol.Start{StretchMicros: 1000, SampleMicros: 500})
	for track, name := range []station.Track{station.Main, station.Programming} {
		step := b.options.Board.Tracks[track].Step
		load := &protocol.Load{Track: uint8(track), Count: 1}
		load.Steps[0] = protocol.Step{Level: 40}
		ask[protocol.Done](h, load)
		h.wait(10 * time.Millisecond)
		h.counts = [protocol.MaxTracks][]uint16{}
		h.wait(50 * time.Millisecond)
		require.NotEmpty(t, h.counts[track])
		amperes := 40 * step
		for _, c := range h.counts[track] {
			require.InDelta(t, amperes*1e6, float64(c)*float64(h.hello.Tracks[track].SenseMicroamps), 1.1*float64(h.hello.Tracks[track].SenseMicroamps))
		}
		for _, c := range h.counts[1-track] {
			require.Zero(t, c, "the other track draws nothing")
		}
		short := map[station.Track]string{station.Main: "MAIN", station.Programming: "PROG"}[name]
		h.wait(300 * time.Millisecond) // the station takes a mean
		var said int
		_, err := fmt.Sscan(h.tell("TRAC:CURR? "+short+"\n", 50*time.Millisecond), &said)
		require.NoError(t, err)
		assert.InDelta(t, amperes*1000, said, 25, "milliamperes that the station reports")
		ask[protocol.Done](h, &protocol.Load{Track: uint8(track)})
	}
}

// The firmware of the probe opens its shorts at the latest 100 ms after the last valid frame.
func TestAShortOpensWhenTheHostHasBeenSilent(t *testing.T) {
	b := opened(t, options(t, "atmega2560"))
	h := newHost(t, b)
	h.tell("TRAC:POW MAIN,ON\n", 100*time.Millisecond)
	ask[protocol.Done](h, protocol.Short{Track: protocol.Main, On: true, MostMs: 5000})
	h.wait(300 * time.Millisecond)
	require.Equal(t, []What{PowerOn, ShortCloses, PowerOff}, happened(b)[:3], "the station cuts it")
	_, last := b.LastByte()
	h.quiet = true
	h.wait(200 * time.Millisecond)
	log := b.Log()
	opens := log[len(log)-1]
	for i := len(log) - 1; opens.What != ShortOpens; i-- {
		opens = log[i]
	}
	t.Logf("opened %v after the last byte", opens.At-last)
	assert.LessOrEqual(t, opens.At-last, 100*time.Millisecond)
	assert.Greater(t, opens.At-last, 95*time.Millisecond)
}

func happened(b *Box) (all []What) {
	for _, e := range b.Log() {
		all = append(all, e.What)
	}
	return all
}

func TestTheProbeTakesTheStationsSupplyAndGivesItBack(t *testing.T) {
	b := opened(t, options(t, "atmega2560"))
	h := newHost(t, b)
	h.tell("TRAC:POW MAIN,ON\n", 100*time.Millisecond)
	require.NotEqual(t, signal.Off, b.Driven(station.Main))
	ask[protocol.Done](h, protocol.Supply{On: false})
	h.wait(10 * time.Millisecond)
	assert.Equal(t, signal.Off, b.Driven(station.Main))
	assert.Empty(t, h.tell("*IDN?\n", 300*time.Millisecond), "there is nobody")
	ask[protocol.Done](h, protocol.Supply{On: true})
	h.wait(300 * time.Millisecond)
	assert.Contains(t, h.tell("*IDN?\n", 50*time.Millisecond), "bufferstop")
	assert.Equal(t, signal.Off, b.Driven(station.Main), "it has started anew")
	assert.Equal(t, []What{PowerOn, SupplyCut, PowerOff, SupplyBack}, happened(b))
}

func TestHowTheTimeOfABoxIsCutChangesNothing(t *testing.T) {
	run := func(piece time.Duration) (bytes []byte) {
		b := opened(t, options(t, "atmega2560"))
		for i := range 50 {
			m := protocol.Message(protocol.Alive{})
			switch i {
			case 1:
				m = protocol.AskHello{Version: protocol.Version}
			case 2:
				m = protocol.Start{StretchMicros: 1000, SampleMicros: 500}
			case 30:
				b.StationLine().ToStation.Put(b.Now(), []byte("TRAC:POW MAIN,ON\nTRAC:POW PROG,ON\n"))
			case 40:
				load := &protocol.Load{Track: protocol.Main, Count: 1}
				load.Steps[0].Level = 33
				m = load
			}
			b.ProbeLine().ToStation.Put(b.Now(), protocol.AppendFrame(nil, m.Type(), uint8(i), m.Append(nil)))
			for to := b.Now() + 10*time.Millisecond; b.Now() < to; {
				require.NoError(t, b.Advance(t.Context(), min(b.Now()+piece, to)))
			}
		}
		buffer := make([]byte, 1<<20)
		return buffer[:b.ProbeLine().ToHost.Take(b.Now(), buffer)]
	}
	whole := run(time.Second)
	require.Greater(t, len(whole), 10_000)
	for _, piece := range []time.Duration{333 * time.Microsecond, 7919 * time.Nanosecond, 100 * time.Microsecond} {
		assert.Equal(t, whole, run(piece), "in pieces of %v", piece)
	}
}

// BenchmarkBox is how much faster than real a box is in which both tracks have power and the probe tells all of it.
func BenchmarkBox(b *testing.B) {
	box := opened(b, options(b, "atmega2560"))
	h := newHost(b, box)
	h.tell("TRAC:POW MAIN,ON\nTRAC:POW PROG,ON\nLOCO:SPE 3,10,FORW\n", 100*time.Millisecond)
	ask[protocol.Done](h, protocol.Start{StretchMicros: 1000, SampleMicros: 500})
	for b.Loop() {
		h.wait(20 * time.Millisecond)
		h.edges, h.counts = [protocol.MaxTracks][]tickEdge{}, [protocol.MaxTracks][]uint16{}
	}
	b.ReportMetric(0.02*float64(b.N)/b.Elapsed().Seconds(), "s/s")
}
