package station

import (
	"bytes"
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// framings are frames of several makes, all with a checksum of 16 bits: a damaged frame passes for a good one rarely enough
// for a test.
func framings() map[string]*frameFraming {
	check := &checksum{algorithm: algorithms["crc-16/xmodem"], kind: "crc-16/xmodem", from: pieceStart}
	one, two := format{width: 1, binary: true}, format{width: 2, binary: true, little: true}
	return map[string]*frameFraming{
		"length":         {start: []byte{0xa5}, length: &one, counts: []string{pieceBody}, longest: 20, checksum: check},
		"two starts":     {start: []byte{0xa5, 0xa5}, length: &one, counts: []string{pieceBody}, longest: 20, checksum: check},
		"length inside":  {start: []byte{0xa5, 0x5a}, length: &two, head: 2, counts: []string{pieceStart, pieceHead, pieceLength, pieceBody, pieceChecksum, pieceEnd}, end: []byte{0x0d}, longest: 40, checksum: check},
		"escape":         {start: []byte{0x02}, end: []byte{0x03}, escapes: true, escape: 0x10, xor: 0x20, counts: []string{pieceBody}, longest: 20, checksum: check},
		"escape, flags":  {start: []byte{0x7e}, end: []byte{0x7e}, escapes: true, escape: 0x7d, xor: 0x20, counts: []string{pieceBody}, longest: 20, checksum: check},
		"escape, length": {start: []byte{0x02}, length: &one, counts: []string{pieceBody}, escapes: true, escape: 0x10, xor: 0x20, longest: 20, checksum: check},
		"two ends":       {start: []byte{0x02}, end: []byte{0x03, 0x04}, escapes: true, escape: 0x10, xor: 0x20, counts: []string{pieceBody}, longest: 20, checksum: check},
	}
}

// readAll reads what a link delivers in pieces until it is silent.
func readAll(t require.TestingT, r *framingReader, far *link.PipeEnd, stream []byte, piece func(left int) int) (frames []string, damaged int) {
	ctx := context.Background()
	take := func(timeout time.Duration) {
		for {
			m, err := r.ReadLine(ctx, timeout)
			var garbled *GarbledMessage
			switch {
			case errors.As(err, &garbled):
				require.NotEmpty(t, garbled.What)
				damaged++
			case err != nil:
				require.ErrorIs(t, err, link.ErrTimeout)
				return
			default:
				frames = append(frames, string(m.Text))
			}
			require.LessOrEqual(t, cap(r.pending), 16*(r.framing.limit()+len(r.chunk)))
		}
	}
	for len(stream) > 0 {
		n := piece(len(stream))
		_, err := far.Write(ctx, stream[:n], 0)
		require.NoError(t, err)
		stream = stream[n:]
		take(0)
	}
	take(time.Second)
	return frames, damaged
}

func TestNoGoodFrameIsLostBehindADamagedOne(t *testing.T) {
	for name, f := range framings() {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				var stream []byte
				var good []string
				hurt := false
				for range rapid.IntRange(1, 8).Draw(t, "frames") {
					least := max(f.head, 1)
					payload := rapid.SliceOfN(rapid.OneOf(rapid.Byte(), rapid.SampledFrom([]byte{0xa5, 0x5a, 0x02, 0x03, 0x10, 0x7e, 0x7d})), least, 18).Draw(t, "payload")
					frame := f.wrap(hexText(payload))
					switch rapid.IntRange(0, 5).Draw(t, "damage") {
					default:
						good = append(good, hexText(payload))
					case 0:
						at := rapid.IntRange(0, len(frame)-1).Draw(t, "at")
						frame[at] ^= byte(rapid.IntRange(1, 255).Draw(t, "bits"))
						hurt = true
					case 1:
						frame = frame[:rapid.IntRange(0, len(frame)-1).Draw(t, "cut")]
						hurt = hurt || len(frame) > 0
					case 2:
						frame = frame[rapid.IntRange(1, len(frame)).Draw(t, "cut"):]
						hurt = hurt || len(frame) > 0
					case 3:
						frame = rapid.SliceOfN(rapid.Byte(), 0, 60).Draw(t, "noise")
						hurt = hurt || len(frame) > 0
					}
					stream = append(stream, frame...)
				}
				clock := new(link.VirtualClock)
				near, far := link.Pipe(clock, 0)
				r := newFramingReader(near, clock, f, 50*time.Millisecond)
				frames, damaged := readAll(t, r, far, stream, func(left int) int { return rapid.IntRange(1, left).Draw(t, "piece") })
				at := 0
				for _, g := range frames {
					if !slices.Contains(good, g) && bytes.Contains(stream, f.wrap(g)) {
						t.Skip("what was damaged has become a good frame by chance, and may hide another")
					}
					if at < len(good) && g == good[at] {
						at++
					}
				}
				require.Equal(t, len(good), at, "good frames %q in % X gave %q", good, stream, frames)
				if !hurt {
					require.Zero(t, damaged)
					require.Equal(t, good, frames)
				}
			})
		})
	}
}

func TestDamagedFramesAreToldOf(t *testing.T) {
	f := framings()["length inside"]
	whole := func(text string) []byte { return f.wrap(text) }
	// The CRC is that of another program.
	require.Equal(t, "A5 5A 10 01 0A 00 02 DF 53 0D", hexText(whole("10 01 02")))
	for _, c := range []struct {
		name   string
		stream []byte
		what   string
	}{
		{"noise", []byte{1, 2, 3}, "bytes outside a frame"},
		{"wrong checksum", []byte{0xa5, 0x5a, 0x10, 0x01, 0x0a, 0x00, 0x02, 0xdf, 0x52, 0x0d}, "checksum DF 52 where the bytes give DF 53 (crc-16/xmodem)"},
		{"wrong end", []byte{0xa5, 0x5a, 0x10, 0x01, 0x0a, 0x00, 0x02, 0xdf, 0x53, 0x0e}, "0E where the end should be"},
		{"too long", []byte{0xa5, 0x5a, 0x10, 0x01, 0xff, 0xff}, "a length of FF FF"},
		{"too short", []byte{0xa5, 0x5a, 0x10, 0x01, 0x02, 0x00}, "a length of 02 00"},
	} {
		t.Run(c.name, func(t *testing.T) {
			clock := new(link.VirtualClock)
			near, far := link.Pipe(clock, 0)
			r := newFramingReader(near, clock, f, 50*time.Millisecond)
			_, err := far.Write(t.Context(), slicesConcat(c.stream, whole("10 01 02")), 0)
			require.NoError(t, err)
			_, err = r.ReadLine(t.Context(), time.Second)
			var garbled *GarbledMessage
			require.ErrorAs(t, err, &garbled)
			assert.Equal(t, c.what, garbled.What)
			assert.Equal(t, hexText(c.stream), garbled.Got)
			m, err := r.ReadLine(t.Context(), time.Second)
			require.NoError(t, err)
			assert.Equal(t, "10 01 02", string(m.Text))
		})
	}
}

func slicesConcat(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

func TestBeginningOfAFrameWaitsForItsRest(t *testing.T) {
	f := framings()["length"]
	clock := new(link.VirtualClock)
	near, far := link.Pipe(clock, 0)
	r := newFramingReader(near, clock, f, 50*time.Millisecond)
	frame := f.wrap("01 02 03")
	_, err := far.Write(t.Context(), frame[:4], 0)
	require.NoError(t, err)
	_, err = r.ReadLine(t.Context(), time.Second)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Equal(t, frame[:4], r.Pending())
	_, err = far.Write(t.Context(), frame[4:], 0)
	require.NoError(t, err)
	m, err := r.ReadLine(t.Context(), 0)
	require.NoError(t, err)
	assert.Equal(t, "01 02 03", string(m.Text))
	assert.EqualValues(t, len(frame), r.BytesRead())
	_, err = far.Write(t.Context(), frame[:4], 0)
	require.NoError(t, err)
	_, err = r.ReadLine(t.Context(), 0)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Equal(t, frame[:4], r.Discard())
	assert.Empty(t, r.Pending())
}

func TestTolerantLinesEndInAnyWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := &lineFraming{end: "\n", tolerant: true, longest: 40}
		var stream []byte
		var lines []string
		for range rapid.IntRange(1, 6).Draw(t, "lines") {
			line := rapid.StringMatching(`[a-z ~é]{0,12}`).Draw(t, "line")
			stream = append(stream, line+rapid.SampledFrom([]string{"\r", "\n", "\r\n", "\n\n", "\r\n\r\n"}).Draw(t, "end")...)
			if line != "" {
				lines = append(lines, line)
			}
		}
		clock := new(link.VirtualClock)
		near, far := link.Pipe(clock, 0)
		got, damaged := readAll(t, newFramingReader(near, clock, f, 0), far, stream, func(left int) int { return rapid.IntRange(1, left).Draw(t, "piece") })
		require.Equal(t, lines, got)
		require.Zero(t, damaged)
	})
}

func TestSilenceEndsAMessageWithoutAnEnd(t *testing.T) {
	f := &lineFraming{longest: 40}
	clock := new(link.VirtualClock)
	near, far := link.Pipe(clock, 0)
	for at, text := range map[time.Duration]string{10: "val", 20: "ue 6", 50: "busy", 85: "x"} {
		clock.At(at*time.Millisecond, func() {
			_, err := far.Write(t.Context(), []byte(text), 0)
			assert.NoError(t, err)
		})
	}
	r := newFramingReader(near, clock, f, 20*time.Millisecond)
	for _, want := range []string{"value 6", "busy", "x"} {
		m, err := r.ReadLine(t.Context(), time.Second)
		require.NoError(t, err)
		assert.Equal(t, want, string(m.Text))
	}
	_, err := r.ReadLine(t.Context(), time.Second)
	require.ErrorIs(t, err, link.ErrTimeout)
}

func TestOverlongMessagesAreCountedAndForgotten(t *testing.T) {
	f := &lineFraming{end: "\n", tolerant: true, longest: 10}
	clock := new(link.VirtualClock)
	near, far := link.Pipe(clock, 0)
	r := newFramingReader(near, clock, f, 0)
	for range 5 {
		_, err := far.Write(t.Context(), []byte(strings.Repeat("x", 1000)), 0)
		require.NoError(t, err)
		_, err = r.ReadLine(t.Context(), 0)
		var long *link.LongLineError
		require.ErrorAs(t, err, &long)
		assert.False(t, long.Ended)
		assert.Less(t, len(r.pending), 100)
	}
	_, err := far.Write(t.Context(), []byte("\rnext\r"), 0)
	require.NoError(t, err)
	_, err = r.ReadLine(t.Context(), 0)
	var long *link.LongLineError
	require.ErrorAs(t, err, &long)
	assert.True(t, long.Ended)
	assert.Equal(t, strings.Repeat("x", longKept), string(long.Start))
	m, err := r.ReadLine(t.Context(), 0)
	require.NoError(t, err)
	assert.Equal(t, "next", string(m.Text))
}

func TestLinesHaveNothingButText(t *testing.T) {
	f := &lineFraming{end: "\n", longest: 100}
	for line, isText := range map[string]bool{"": true, "value 6": true, "tab\there": true, "Größe ✓": true, "a\x00b": false, "\x1b[31m": false, "\xff": false, "a\rb": false, "\u0085": false} {
		_, err := f.unwrap([]byte(line))
		var garbled *GarbledMessage
		assert.Equal(t, !isText, errors.As(err, &garbled), "%q", line)
		_, err = (&lineFraming{end: "\n", longest: 100, anyText: true}).unwrap([]byte(line))
		assert.NoError(t, err)
	}
}

func FuzzFrames(f *testing.F) {
	all := framings()
	names := []string{"length", "two starts", "length inside", "escape", "escape, flags", "escape, length", "two ends"}
	for i, name := range names {
		f.Add(all[name].wrap("01 A5 02 7E"), uint8(i), uint64(1))
		f.Add(slicesConcat([]byte{0xa5, 3, 0x7e, 2}, all[name].wrap("10 10"), all[name].wrap("A5")[:3]), uint8(i), uint64(2))
	}
	f.Fuzz(func(t *testing.T, stream []byte, which uint8, seed uint64) {
		framing := all[names[int(which)%len(names)]]
		var first []string
		for i := range 3 {
			random := rand.New(rand.NewPCG(seed, uint64(i)))
			clock := new(link.VirtualClock)
			near, far := link.Pipe(clock, 0)
			r := newFramingReader(near, clock, framing, 50*time.Millisecond)
			frames, _ := readAll(t, r, far, stream, func(left int) int {
				if i == 0 {
					return min(left, 4096)
				}
				return 1 + random.IntN(min(left, 64))
			})
			for _, text := range frames {
				payload, err := hexBytes(text)
				require.NoError(t, err)
				require.LessOrEqual(t, len(payload), framing.longest)
			}
			if i == 0 {
				first = frames
			}
			require.Equal(t, first, frames, "however the bytes are split")
		}
	})
}
