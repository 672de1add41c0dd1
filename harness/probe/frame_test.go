package probe

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

type plainFrame struct {
	Type    Type
	Seq     uint8
	Payload []byte
}

func drawFrames(t *rapid.T) (frames []plainFrame, line []byte) {
	for range rapid.IntRange(1, 6).Draw(t, "frames") {
		f := plainFrame{Type(rapid.Byte().Draw(t, "type")), rapid.Byte().Draw(t, "seq"),
			rapid.SliceOfN(rapid.OneOf(rapid.Byte(), rapid.Just(byte(0))), 0, MaxPayload).Draw(t, "payload")}
		frames = append(frames, f)
		line = AppendFrame(line, f.Type, f.Seq, f.Payload)
	}
	return frames, line
}

// found gives the framer the line in pieces.
func found(t *rapid.T, f *Framer, line []byte) (frames []plainFrame) {
	for len(line) > 0 {
		n := rapid.IntRange(1, len(line)).Draw(t, "piece")
		for piece := line[:n]; ; {
			frame, rest, ok := f.Next(piece)
			if !ok {
				break
			}
			frames = append(frames, plainFrame{frame.Type, frame.Seq, append([]byte{}, frame.Payload...)})
			piece = rest
		}
		line = line[n:]
	}
	return frames
}

func TestFramesComeBackInWhateverPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want, line := drawFrames(t)
		var f Framer
		got := found(t, &f, line)
		require.Len(t, got, len(want))
		for i := range want {
			require.Equal(t, want[i].Type, got[i].Type)
			require.Equal(t, want[i].Seq, got[i].Seq)
			require.True(t, bytes.Equal(want[i].Payload, got[i].Payload))
		}
		require.Zero(t, f.Broken().Total())
	})
}

func TestAfterNoiseTheNextFrameIsFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		noise := rapid.SliceOfN(rapid.Byte(), 0, 2000).Draw(t, "noise")
		want, line := drawFrames(t)
		var f Framer
		all := found(t, &f, append(append(noise, 0), line...))
		require.GreaterOrEqual(t, len(all), len(want)) // noise that is a frame by chance would come before
		for i, got := range all[len(all)-len(want):] {
			require.Equal(t, want[i].Type, got.Type)
			require.True(t, bytes.Equal(want[i].Payload, got.Payload))
		}
	})
}

func TestABrokenFrameIsCountedByKind(t *testing.T) {
	line := AppendFrame(nil, TypeAlive, 1, nil)
	check := func(want Broken, line ...byte) {
		t.Helper()
		var f Framer
		_, _, ok := f.Next(line)
		assert.False(t, ok)
		assert.Equal(t, want, f.Broken())
	}
	wrong := bytes.Clone(line)
	wrong[1] ^= 0x20
	check(Broken{Checksum: 1}, wrong...)
	check(Broken{Length: 1}, 3, 1, 2, 0)
	check(Broken{Stuffing: 1}, 9, 1, 2, 0)
	check(Broken{Length: 1}, append(bytes.Repeat([]byte{1}, 300), 0)...)
	check(Broken{}, 0, 0, 0)
}

func TestAFrameOfTheGreatestLengthIsOneBlock(t *testing.T) {
	line := AppendFrame(nil, TypeStretch, 0, bytes.Repeat([]byte{0xaa}, MaxPayload))
	assert.Len(t, line, MaxEncoded)
	var f Framer
	frame, _, ok := f.Next(line)
	require.True(t, ok)
	assert.Len(t, frame.Payload, MaxPayload)
	assert.Panics(t, func() { AppendFrame(nil, TypeStretch, 0, make([]byte, MaxPayload+1)) })
}

func TestFramingAllocatesNothing(t *testing.T) {
	payload := bytes.Repeat([]byte{1, 0, 2}, 60)
	line := make([]byte, 0, MaxEncoded)
	var f Framer
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		line = AppendFrame(line[:0], TypeStretch, 3, payload)
		if _, _, ok := f.Next(line); !ok {
			t.Fatal("no frame")
		}
	}))
}

func FuzzFramer(f *testing.F) {
	f.Add(AppendFrame(nil, TypeHello, 0, []byte{1, 2, 0, 3}), 3)
	f.Add(append(bytes.Repeat([]byte{7}, 400), 0, 1, 0), 100)
	f.Fuzz(func(t *testing.T, line []byte, cut int) {
		cut = min(max(cut, 0), len(line))
		var whole, pieces Framer
		var a, b []byte
		gather := func(f *Framer, p []byte, into []byte) []byte {
			for {
				frame, rest, ok := f.Next(p)
				if !ok {
					return into
				}
				into = AppendFrame(into, frame.Type, frame.Seq, frame.Payload)
				p = rest
			}
		}
		a = gather(&whole, line, a)
		b = gather(&pieces, line[cut:], gather(&pieces, line[:cut], b))
		if !bytes.Equal(a, b) || whole.Broken() != pieces.Broken() {
			t.Fatalf("whole % x %+v, in pieces % x %+v", a, whole.Broken(), b, pieces.Broken())
		}
	})
}
