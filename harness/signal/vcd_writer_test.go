package signal

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// readAll reads a signal, or the only one, to the end.
func readAll(r *VCDReader) ([]Edge, error) {
	var edges []Edge
	buf := make([]Edge, 7)
	for {
		n, err := r.Read(buf)
		edges = append(edges, buf[:n]...)
		if err == io.EOF {
			return edges, nil
		}
		if err != nil {
			return edges, err
		}
	}
}

func TestWriterWritesAValueChangeDump(t *testing.T) {
	var file strings.Builder
	w := NewVCDWriter(&file, "station.main", "station.programming track")
	require.NoError(t, w.Edge(0, Edge{5, Positive}))
	require.NoError(t, w.Edge(1, Edge{5, Off}))
	require.NoError(t, w.Comment("here it $ends"))
	require.NoError(t, w.Edge(0, Edge{63, Negative}))
	require.NoError(t, w.Edge(0, Edge{100, Negative}))
	require.NoError(t, w.End(200))
	require.NoError(t, w.Close())
	assert.Equal(t, `$comment track signal: 1 positive, 0 negative, z off $end
$timescale 1 ns $end
$scope module station $end
$var wire 1 ! main $end
$upscope $end
$scope module station $end
$var wire 1 " programming_track $end
$upscope $end
$enddefinitions $end
#5
$dumpvars
x!
x"
$end
1!
z"
$comment here it $ ends $end
#63
0!
#100
#200
`, file.String())
}

func TestWhatIsWrittenIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		n := rapid.IntRange(1, 3).Draw(t, "signals")
		names := []string{"a", "b", "c"}[:n]
		var file bytes.Buffer
		w := NewVCDWriter(&file, names...)
		want := make([][]Edge, n)
		now := time.Duration(random.Int64N(1e12))
		origin := now
		levels := []Level{Off, Off, Off}
		for range rapid.IntRange(1, 200).Draw(t, "edges") {
			signal := random.IntN(n)
			level := Level(random.IntN(3) - 1)
			require.NoError(t, w.Edge(signal, Edge{now, level}))
			if len(want[signal]) == 0 || level != levels[signal] {
				// A signal that is not known yet is off at the beginning.
				if len(want[signal]) == 0 && now > origin {
					want[signal] = append(want[signal], Edge{0, Off})
				}
				if len(want[signal]) == 0 || level != Off || levels[signal] != Off {
					want[signal] = append(want[signal], Edge{now - origin, level})
				}
				levels[signal] = level
			}
			now += time.Duration(1 + random.Int64N(1e6))
		}
		require.NoError(t, w.Close())
		for i, name := range names {
			r, err := NewVCDReader(bytes.NewReader(file.Bytes()))
			require.NoError(t, err)
			require.NoError(t, r.Choose(name))
			got, err := readAll(r)
			require.NoError(t, err)
			if len(want[i]) == 0 {
				want[i] = []Edge{{0, Off}}
			}
			require.Equal(t, want[i], got)
		}
	})
}

func TestWriterRefusesWhatADumpCannotSay(t *testing.T) {
	for what, write := range map[string]func(w *VCDWriter) error{
		"time runs backwards": func(w *VCDWriter) error { w.Edge(0, Edge{2, Off}); return w.Edge(0, Edge{1, Positive}) },
		"below zero":          func(w *VCDWriter) error { return w.Edge(0, Edge{-1, Positive}) },
		"signal 1 of 1":       func(w *VCDWriter) error { return w.Edge(1, Edge{1, Positive}) },
		"signal -1 of 1":      func(w *VCDWriter) error { return w.Edge(-1, Edge{1, Positive}) },
		"level 9 is none":     func(w *VCDWriter) error { return w.Edge(0, Edge{1, 9}) },
	} {
		w := NewVCDWriter(io.Discard, "main")
		err := write(w)
		require.ErrorContains(t, err, what)
		assert.Equal(t, err, w.Edge(0, Edge{5, Positive}), "the first error stays")
		assert.Equal(t, err, w.Close())
	}
	assert.Error(t, NewVCDWriter(io.Discard).Close(), "no signal")
}

// full fails after some bytes, as a full disk does.
type full struct{ room int }

var errFull = errors.New("no space left")

func (f *full) Write(p []byte) (int, error) {
	if f.room -= len(p); f.room < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func TestWriterKeepsTheErrorOfTheDisk(t *testing.T) {
	w := NewVCDWriter(&full{100000}, "main")
	s := newStream(Positive).ones(20000)
	for _, e := range s.edges {
		w.Edge(0, e)
	}
	assert.ErrorIs(t, w.Close(), errFull)
	assert.ErrorIs(t, w.Edge(0, Edge{s.now + 1, Off}), errFull)
}

func TestIdentifierCodesDiffer(t *testing.T) {
	seen := map[string]bool{}
	for i := range 20000 {
		code := identifierCode(i)
		require.False(t, seen[code], "%d", i)
		seen[code] = true
	}
}
