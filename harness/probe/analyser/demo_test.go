package analyser

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/probe"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// needProgram skips a test that needs sigrok-cli.
func needProgram(t testing.TB) string {
	t.Helper()
	path, err := exec.LookPath(Program)
	if err != nil {
		t.Skip("sigrok-cli is not installed; its demo driver is the analyser of this test")
	}
	return path
}

// The demo driver's pattern repeats every 64 samples: on D0 the bits of its first column, and so on.
// The demo driver moves channels together when some between are left out; others do not. Ours have to be the same either way.
func TestChannelsKeepTheirPlacesWhicheverAreChosen(t *testing.T) {
	needProgram(t)
	edges := func(channels string) [probe.MaxTracks][]signal.Edge {
		x, err := Open(t.Context(), "sigrok:driver=demo,samplerate=100kHz"+channels, Options{})
		require.NoError(t, err)
		defer x.Close()
		h, err := pump(t, x, 5*time.Millisecond)
		require.NoError(t, err)
		return [probe.MaxTracks][]signal.Edge{h.edges[0][:50], h.edges[1]}
	}
	first, second := edges(",channel=D2"), edges(",channel=D5")
	both := edges(",channel=D2,channel=D5")
	assert.Equal(t, first[0], both[0])
	assert.Equal(t, second[0], both[1][:50])
	assert.NotEqual(t, first[0], second[0])
}

func TestTheDemoDriverIsAProbe(t *testing.T) {
	needProgram(t)
	x, err := Open(t.Context(), "sigrok:driver=demo,samplerate=100kHz,channel=D0,track=programming,positive=D3,negative=D5", Options{})
	require.NoError(t, err)
	defer x.Close()
	hello := x.Hello()
	assert.Equal(t, uint32(1e5), hello.Clock)
	assert.Equal(t, probe.SeesEdges, hello.Features, "one of the tracks cannot be told to be off")
	assert.Len(t, hello.Tracks, 2)

	// The same with the text format: the pattern does not depend on the format.
	out, err := exec.Command(Program, "-d", "demo", "-c", "samplerate=100k", "-C", "D0", "--samples", "4096", "-O", "bits:width=4096").Output()
	require.NoError(t, err)
	var want []signal.Edge
	sample := 0
	level := signal.Off
	for _, c := range afterColon(string(out)) {
		if c != '0' && c != '1' {
			continue
		}
		now := signal.Level(2*int8(c-'0') - 1)
		if now != level {
			level = now
			want = append(want, signal.Edge{Time: time.Duration(sample) * 10 * time.Microsecond, Level: now})
		}
		sample++
	}
	require.Equal(t, 4096, sample)

	h, err := pump(t, x, 300*time.Millisecond)
	require.NoError(t, err)
	assert.Empty(t, h.lost)
	require.Greater(t, len(h.edges[0]), len(want))
	assert.Equal(t, want, h.edges[0][:len(want)])
	require.NoError(t, x.Close())
}

// afterColon is what stands behind the last "D0:".
func afterColon(text string) string {
	for i := len(text) - 3; i >= 0; i-- {
		if text[i:i+3] == "D0:" {
			return text[i+3:]
		}
	}
	return ""
}

// wider runs sigrok-cli with another driver than it is told.
const wider = `driver=$1; shift; test "$1" != --driver || { shift 2; set -- --driver "$driver" "$@"; }; exec sigrok-cli "$@"`

func TestWideSamplesAndChannelsFarApartAreFound(t *testing.T) {
	needProgram(t)
	for _, channels := range []string{"8", "12", "20", "30", "60"} {
		last := map[string]string{"8": "D7", "12": "D11", "20": "D19", "30": "D29", "60": "D59"}[channels]
		x, err := Open(t.Context(), "sigrok:driver=demo,samplerate=100kHz,channel=D3,channel="+last, Options{
			Command: []string{"sh", "-c", wider, "sh", "demo:logic_channels=" + channels}})
		require.NoError(t, err)
		h, err := pump(t, x, 20*time.Millisecond)
		require.NoError(t, err, channels)
		assert.NotEmpty(t, h.edges[0])
		require.NoError(t, x.Close())
	}
}

func TestWhatTheProgramRefusesIsSaid(t *testing.T) {
	needProgram(t)
	for text, want := range map[string]string{
		"sigrok:driver=demo,channel=D9":                  `channel: got "D9", want one of "D0 D1 D2 D3 D4 D5 D6 D7 A0 A1 A2 A3 A4"`,
		"sigrok:driver=nosuch,channel=D0":                "Driver nosuch not found",
		"sigrok:driver=fx2lafw,channel=D0":               "No devices found",
		"sigrok:driver=demo,channel=D0,set=nosuch=1":     "Unknown device option 'nosuch'",
		"sigrok:driver=demo,channel=D0,threshold=1.4":    "voltage_threshold",
		"sigrok:driver=demo,channel=D0-D7":               `channel: got "D0-D7"`,
		"sigrok:driver=demo,samplerate=1GHz,channel=D99": "D99",
	} {
		_, err := Open(t.Context(), text, Options{})
		assert.ErrorContains(t, err, want, text)
	}
}

// playing runs sigrok-cli with a capture file in the place of a device, as fast as it reads it.
const playing = `capture=$1; channel=$2; shift 2
case "$*" in
*--driver*--show*) echo "x - Capture with 1 channels: $channel" ;;
*--show*) exec sigrok-cli "$@" ;;
*--output-file*) while test "$1" != --output-file; do shift; done; exec sigrok-cli --input-file "$capture" --output-file "$2" ;;
*) exec sigrok-cli --input-file "$capture" --output-format binary ;;
esac`

// The recordings of real layouts lie beside the project; they are not part of it. sigrok-cli plays one as if it came from a
// device, and what is found in its samples is what our reader finds in the file.
func TestAFieldCaptureIsReadTheSameThroughSigrokAndFromItsFile(t *testing.T) {
	needProgram(t)
	packed := filepath.Join("..", "..", "..", "..", "shared", "captures", "accessory-120-121.vcd.gz")
	if _, err := os.Stat(packed); err != nil {
		t.Skipf("the field captures are not here: %v", err)
	}
	c, err := signal.OpenCapture(packed, nil)
	require.NoError(t, err)
	defer c.Close()
	require.Len(t, c.Signals(), 1)
	name := c.Signals()[0]
	want := signal.NewReceiver(signal.StationReading(), nil)
	var edges []signal.Edge
	buf := make([]signal.Edge, 4096)
	for err == nil {
		var n int
		n, err = c.Read(buf)
		edges = append(edges, buf[:n]...)
	}
	want.Edges(edges)
	want.Finish(c.End())
	unpacked, err := exec.Command("gzip", "-dc", packed).Output()
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "capture.vcd")
	require.NoError(t, os.WriteFile(path, unpacked, 0o600))

	// sigrok-cli names the channel with its scope, or without.
	channel := name[strings.LastIndexByte(name, '.')+1:]
	x, err := Open(t.Context(), "sigrok:driver=x,samplerate=1MHz,ppm=0,channel="+channel,
		Options{Command: []string{"sh", "-c", playing, "sh", path, channel}, QueueEdges: 1 << 18})
	require.NoError(t, err)
	defer x.Close()
	assert.Empty(t, x.Notes())
	h, err := pump(t, x, time.Hour)
	require.ErrorIs(t, err, probe.ErrLost)
	require.ErrorContains(t, err, "exit status 0")
	require.Empty(t, h.lost)
	require.Len(t, h.edges[0], len(edges))
	shift := h.edges[0][0].Time - edges[0].Time // sigrok-cli may begin at another zero
	for i, e := range edges {
		require.Equal(t, signal.Edge{Time: e.Time + shift, Level: e.Level}, h.edges[0][i], "edge %d", i)
	}
	got := signal.NewReceiver(signal.StationReading(), nil)
	got.Edges(h.edges[0])
	got.Finish(h.complete)
	assert.Equal(t, want.Statistics().Packets, got.Statistics().Packets)
	assert.Equal(t, want.Statistics().OneHalf.Mean(), got.Statistics().OneHalf.Mean())
}

// What it costs sigrok-cli to write a second of a track of ones on two channels in each of its formats, less what it costs to read it.
func BenchmarkFormats(b *testing.B) {
	program := needProgram(b)
	folder := b.TempDir()
	for _, megahertz := range []int{1, 8, 24} {
		raw := make([]byte, megahertz*1_000_000)
		for i := range raw {
			raw[i] = byte(1 + i/(58*megahertz)&1)
		}
		path := filepath.Join(folder, "samples")
		require.NoError(b, os.WriteFile(path, raw, 0o600))
		cost := func(format string) time.Duration {
			c := exec.Command(program, "-I", fmt.Sprintf("binary:numchannels=8:samplerate=%d000000", megahertz), "-i", path,
				"-C", "0,1", "-O", format)
			require.NoError(b, c.Run())
			return c.ProcessState.UserTime() + c.ProcessState.SystemTime()
		}
		for _, format := range []string{"binary", "bits:width=4096", "hex:width=4096", "csv", "vcd"} {
			b.Run(fmt.Sprintf("%dMHz %s", megahertz, strings.Split(format, ":")[0]), func(b *testing.B) {
				var all time.Duration
				for b.Loop() {
					all += cost(format) - cost("null")
				}
				b.ReportMetric(all.Seconds()/float64(b.N), "CPU-s/s")
			})
		}
	}
}

// The whole way at the driver's own pace: CPU of sigrok-cli and of this process for a second of capture. The pattern of the demo
// driver has an edge every few samples, hundreds of times as many as a track.
func BenchmarkDemo(b *testing.B) {
	needProgram(b)
	for _, rate := range []string{"1MHz", "8MHz"} {
		b.Run(rate, func(b *testing.B) {
			x, err := Open(b.Context(), "sigrok:driver=demo,channel=D0,samplerate="+rate, Options{})
			require.NoError(b, err)
			defer x.Close()
			sink := &counting{}
			b.ReportAllocs()
			for b.Loop() {
				for end := sink.complete + 100*time.Millisecond; sink.complete < end; {
					_, err := x.Pump(b.Context(), time.Second, sink)
					require.NoError(b, err)
				}
			}
			b.ReportMetric(float64(sink.edges)/sink.complete.Seconds(), "edges/s")
			b.ReportMetric(float64(x.Health().Dropped), "dropped")
		})
	}
}

// counting is a sink that only counts.
type counting struct {
	heard
	edges    int
	complete time.Duration
}

func (c *counting) Edges(_ int, e []signal.Edge)           { c.edges += len(e) }
func (c *counting) Lost(int, time.Duration, time.Duration) {}
func (c *counting) Complete(until time.Duration)           { c.complete = until }
