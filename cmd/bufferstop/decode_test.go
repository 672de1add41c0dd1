package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
)

// capture writes a VCD file with these packets: ones of 58 µs halves, zeros of 100 µs.
func capture(t require.TestingT, w io.Writer, preamble int, packets ...dcc.Packet) {
	out := signal.NewVCDWriter(w, "main")
	now, level := time.Duration(0), signal.Positive
	reversal := func(d time.Duration) {
		now += d
		level = -level
		require.NoError(t, out.Edge(0, signal.Edge{Time: now, Level: level}))
	}
	require.NoError(t, out.Edge(0, signal.Edge{Time: now, Level: level}))
	var bits []byte
	for _, p := range packets {
		bits = p.AppendBits(bits, preamble)
	}
	bits = append(bits, 1, 1) // one more edge completes the last end bit
	for _, bit := range bits {
		half := 58 * time.Microsecond
		if bit == 0 {
			half = 100 * time.Microsecond
		}
		reversal(half)
		reversal(half)
	}
	require.NoError(t, out.Close())
}

// decodedLine is any line of decode --format json.
type decodedLine struct {
	Type     string        `json:"type"`
	Start    int64         `json:"start_ns"`
	End      int64         `json:"end_ns"`
	Preamble int           `json:"preamble_bits"`
	Bytes    string        `json:"bytes"`
	Valid    bool          `json:"valid"`
	Meaning  string        `json:"meaning"`
	Fault    string        `json:"fault"`
	Reason   string        `json:"reason"`
	Edges    int64         `json:"edges"`
	Packets  int64         `json:"packets"`
	Invalid  int64         `json:"invalid_packets"`
	OneHalf  decodedHalves `json:"one_half_us"`
	ZeroHalf decodedHalves `json:"zero_half_us"`
	Folded   int64         `json:"folded_packets"`
}

type decodedHalves struct {
	Count          int64
	Min, Max, Mean *float64
}

func decodeJSON(t require.TestingT, vcd io.Reader, flags ...string) []decodedLine {
	var stdout, stderr bytes.Buffer
	code := run(append([]string{"decode", "--format", "json", "-"}, flags...), vcd, &stdout, &stderr)
	require.Equal(t, 0, code, stderr.String())
	require.Empty(t, stderr.String())
	var lines []decodedLine
	d := json.NewDecoder(&stdout)
	d.DisallowUnknownFields()
	for {
		var line decodedLine
		err := d.Decode(&line)
		if err == io.EOF {
			return lines
		}
		require.NoError(t, err)
		lines = append(lines, line)
	}
}

func TestDecodeListsEveryPacketThatWasSent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		body := rapid.SliceOfN(rapid.Byte(), 2, 5)
		preamble := rapid.IntRange(14, 30).Draw(t, "preamble")
		var packets []dcc.Packet
		for range rapid.IntRange(1, 6).Draw(t, "packets") {
			packets = append(packets, dcc.Seal(body.Draw(t, "body")...))
		}
		var vcd bytes.Buffer
		capture(t, &vcd, preamble, packets...)
		lines := decodeJSON(t, &vcd)
		var heard []decodedLine
		for _, line := range lines {
			if line.Type == "packet" {
				heard = append(heard, line)
			}
		}
		require.Len(t, heard, len(packets))
		ones, zeros := int64(0), int64(0)
		for i, p := range packets {
			assert.Equal(t, p.String(), heard[i].Bytes)
			assert.True(t, heard[i].Valid)
			assert.NotEmpty(t, heard[i].Meaning)
			assert.Less(t, heard[i].Start, heard[i].End)
			for _, bit := range p.AppendBits(nil, preamble) {
				ones, zeros = ones+int64(bit), zeros+1-int64(bit)
			}
		}
		summary := lines[len(lines)-1]
		assert.Equal(t, "summary", summary.Type)
		assert.EqualValues(t, len(packets), summary.Packets)
		assert.Zero(t, summary.Invalid)
		assert.EqualValues(t, 1+2*(ones+zeros+2), summary.Edges)
		assert.Equal(t, 2*zeros, summary.ZeroHalf.Count)
		assert.InDelta(t, 2*(ones+2), summary.OneHalf.Count, 2, "the halves at the ends are not whole")
		assert.Equal(t, []float64{58, 58, 58}, []float64{*summary.OneHalf.Min, *summary.OneHalf.Mean, *summary.OneHalf.Max})
		assert.Equal(t, []float64{100, 100, 100}, []float64{*summary.ZeroHalf.Min, *summary.ZeroHalf.Mean, *summary.ZeroHalf.Max})
	})
}

func TestDecodeReadsServiceModeAsADecoderInItDoes(t *testing.T) {
	reset, verify := dcc.Seal(0, 0), dcc.Seal(0x74, 0x07, 0x06) // 0111-01-00: verify CV8
	var vcd bytes.Buffer
	capture(t, &vcd, 20, verify, reset, reset, reset, verify)
	lines := decodeJSON(t, &vcd)
	require.Equal(t, lines[0].Bytes, lines[4].Bytes)
	assert.Contains(t, lines[4].Meaning, "CV 8")
	assert.NotEqual(t, lines[0].Meaning, lines[4].Meaning, "the same bytes mean something else outside service mode")
}

func TestHalfBitsThatWereNeverSeenHaveNoExtremes(t *testing.T) {
	vcd := "$timescale 1 us $end\n$var wire 1 ! main $end\n$enddefinitions $end\n#0 1!\n#500 1!\n"
	lines := decodeJSON(t, strings.NewReader(vcd))
	summary := lines[len(lines)-1]
	require.Equal(t, "summary", summary.Type)
	assert.Zero(t, summary.OneHalf.Count)
	assert.Nil(t, summary.OneHalf.Min)
	assert.Nil(t, summary.OneHalf.Mean)
}

func TestFoldLeavesOutOnlyWhatWasSaidBefore(t *testing.T) {
	stop, go5, light := dcc.Seal(3, 0x60), dcc.Seal(3, 0x64), dcc.Seal(3, 0x90)
	other := dcc.Seal(4, 0x60)
	var vcd bytes.Buffer
	capture(t, &vcd, 16, stop, light, other, stop, light, other, go5, light, stop)
	var heard []string
	lines := decodeJSON(t, &vcd, "--fold")
	for _, line := range lines[:len(lines)-1] {
		heard = append(heard, line.Bytes)
	}
	assert.Equal(t, []string{stop.String(), light.String(), other.String(), go5.String(), stop.String()}, heard)
	assert.EqualValues(t, 4, lines[len(lines)-1].Folded)
	assert.EqualValues(t, 9, lines[len(lines)-1].Packets)
}

func TestFoldSaysAgainWhatWasLastSaidLongAgo(t *testing.T) {
	idle, light := dcc.Seal(0xff, 0), dcc.Seal(3, 0x90)
	packets := []dcc.Packet{light}
	for range 500 { // more than two seconds
		packets = append(packets, idle)
	}
	var vcd bytes.Buffer
	capture(t, &vcd, 16, append(packets, light)...)
	assert.Len(t, decodeJSON(t, &vcd, "--fold"), 4, "the light twice, idle once, the summary")
}

func TestDecodeShowsDamagedPacketsAndSaysWhatIsWrong(t *testing.T) {
	var vcd bytes.Buffer
	capture(t, &vcd, 16, dcc.Packet{3, 0x60, 0x62}, dcc.Packet{0xff, 0xff}, dcc.Packet{0}, dcc.Seal(1, 2, 3, 4, 5, 6), dcc.Seal(3, 0x60))
	lines := decodeJSON(t, &vcd)
	require.Len(t, lines, 6)
	for i, want := range []string{"bad error byte", "too short", "too short", "too long", ""} {
		assert.Equal(t, want, lines[i].Fault)
		assert.Equal(t, want == "", lines[i].Valid)
	}
	assert.Equal(t, "01020304050607", lines[3].Bytes)
	assert.EqualValues(t, 4, lines[5].Invalid)
}

// A probe that writes into a pipe goes on for hours; what it has seen is wanted now.
func TestDecodeShowsWhatItHasBeforeTheCaptureEnds(t *testing.T) {
	var packets []dcc.Packet
	for range 100 {
		packets = append(packets, dcc.Seal(3, 0x60))
	}
	var vcd bytes.Buffer
	capture(t, &vcd, 16, packets...)
	probe, in := io.Pipe()
	out, stdout := io.Pipe()
	code := make(chan int, 1)
	go func() {
		code <- run([]string{"decode", "--format", "json", "-"}, probe, stdout, io.Discard)
		stdout.Close()
	}()
	seen := make(chan struct{})
	go func() {
		in.Write(vcd.Bytes())
		<-seen
		in.Close()
	}()
	lines := bufio.NewScanner(out)
	require.True(t, lines.Scan(), "nothing came while the capture was open")
	assert.Contains(t, lines.Text(), `"bytes":"036063"`)
	close(seen)
	for lines.Scan() {
	}
	assert.Equal(t, 0, <-code)
}

// A reader that panics stands for whatever may go wrong below.
type panickingReader struct{}

func (panickingReader) Read([]byte) (int, error) { panic("a fault of ours") }

func TestAPanicBelowIsAFaultOfTheHarness(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	t.Setenv("TMP", dir)
	var stdout, stderr bytes.Buffer
	assert.Equal(t, 3, run([]string{"decode", "-"}, panickingReader{}, &stdout, &stderr))
	assert.Regexp(t, `^bufferstop: fault of the harness, not of the station: a fault of ours\nhint: the stack trace is in .+\n$`, stderr.String())
}

// A pipe that is closed on the other side takes so much and no more.
type closingPipe struct{ room int }

func (p *closingPipe) Write(b []byte) (int, error) {
	if len(b) > p.room {
		return p.room, io.ErrClosedPipe
	}
	p.room -= len(b)
	return len(b), nil
}

func TestDecodeEndsQuietlyWhenNobodyReadsOn(t *testing.T) {
	var packets []dcc.Packet
	for range 2000 {
		packets = append(packets, dcc.Seal(3, 0x60))
	}
	var vcd, stderr bytes.Buffer
	capture(t, &vcd, 16, packets...)
	left := vcd.Len()
	assert.Equal(t, 0, run([]string{"decode", "-"}, &vcd, &closingPipe{5000}, &stderr))
	assert.Empty(t, stderr.String())
	assert.Greater(t, vcd.Len(), left/4, "it stops reading as well")
}

// The captures were made by others on layouts; their README tells what was switched in each.
func TestEveryFieldCaptureDecodesWithoutAnInvalidPacket(t *testing.T) {
	files, err := filepath.Glob("../../../shared/captures/*.vcd.gz")
	require.NoError(t, err)
	if len(files) == 0 {
		t.Skip("the field captures are not at ../shared/captures")
	}
	for _, name := range files {
		t.Run(filepath.Base(name), func(t *testing.T) {
			file, err := os.Open(name)
			require.NoError(t, err)
			defer file.Close()
			lines := decodeJSON(t, file)
			require.Greater(t, len(lines), 700)
			for i, line := range lines {
				if line.Type == "packet" && i > 0 && i < len(lines)-2 {
					assert.True(t, line.Valid, "%+v", line)
				}
				if line.Type == "unusable" {
					assert.True(t, i == 0 || i == len(lines)-2, "unusable in the middle: %+v", line)
				}
			}
		})
	}
}

func BenchmarkDecode(b *testing.B) {
	var packets []dcc.Packet
	for i := range 2000 {
		packets = append(packets, dcc.Seal(byte(1+i%100), 0x60))
	}
	var vcd bytes.Buffer
	capture(b, &vcd, 16, packets...)
	for _, format := range []string{"text", "json"} {
		b.Run(format, func(b *testing.B) {
			b.SetBytes(int64(vcd.Len()))
			for b.Loop() {
				if run([]string{"decode", "--format", format, "-"}, bytes.NewReader(vcd.Bytes()), io.Discard, io.Discard) != 0 {
					b.Fatal("decode failed")
				}
			}
		})
	}
}
