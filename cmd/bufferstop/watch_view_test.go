package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"charm.land/lipgloss/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"

	"bufferstop/harness/current"
	"bufferstop/harness/dcc"
	"bufferstop/harness/live"
	"bufferstop/harness/signal"
)

var updateScreens = flag.Bool("update-screens", false, "write the screens of watch anew")

// A waveMaker makes the edges of packets.
type waveMaker struct {
	now   time.Duration
	level signal.Level
	edges []signal.Edge
	one   time.Duration // half of a one
}

func (w *waveMaker) half(d time.Duration) {
	w.now += d
	w.level = -w.level
	w.edges = append(w.edges, signal.Edge{Time: w.now, Level: w.level})
}

func (w *waveMaker) packet(bytes ...byte) {
	bit := func(one bool) {
		d := 100 * time.Microsecond
		if one {
			d = w.one
		}
		w.half(d)
		w.half(d)
	}
	for range 16 {
		bit(true)
	}
	for _, b := range bytes {
		bit(false)
		for i := 7; i >= 0; i-- {
			bit(b>>i&1 == 1)
		}
	}
	bit(true)
}

// aBusyRig is the view of a rig after six seconds: a main track with two locomotives, some half-bits out of limits and a
// trip, and a programming track with acknowledges that is off again.
func aBusyRig(t require.TestingT) *watchView {
	wave := &waveMaker{level: signal.Positive, edges: []signal.Edge{{Level: signal.Positive}}, one: 58 * time.Microsecond}
	for i := 0; wave.now < 6*time.Second; i++ {
		step := 10 + int(wave.now/time.Second)
		for n, address := range []uint16{3, 47} {
			p, err := dcc.Speed{Address: dcc.Address{Number: address}, Steps: dcc.Steps128, Direction: dcc.Forward, Step: step * (n + 1)}.Packet()
			require.NoError(t, err)
			wave.packet(p...)
		}
		switch i {
		case 20:
			wave.one = 63 * time.Microsecond
		case 21:
			wave.one = 58 * time.Microsecond
		case 50:
			wave.packet(3, 4, 5)
		}
	}
	sampled := func(milliamperes func(t time.Duration) int) []current.Sample {
		var all []current.Sample
		for at := time.Duration(0); at < wave.now; at += time.Millisecond {
			all = append(all, current.Sample{Time: at, Current: physic.ElectricCurrent(milliamperes(at)) * physic.MilliAmpere})
		}
		return all
	}
	options := live.Options{
		Trips:        current.TripFilter{Above: 1500 * physic.MilliAmpere, Nothing: 10 * physic.MilliAmpere, Fall: 5 * time.Millisecond},
		Acknowledges: current.StandardAcknowledge(),
	}
	alone := live.Options{Trips: options.Trips}
	busy, quiet := live.NewTrack(alone), live.NewTrack(options)
	busy.Edges(wave.edges)
	busy.Samples(sampled(func(at time.Duration) int {
		switch {
		case at < 4*time.Second:
			return 300 + int(at/time.Millisecond)/20
		case at < 4*time.Second+40*time.Millisecond:
			return 3100
		case at < 4500*time.Millisecond:
			return 0
		}
		return 420
	}))
	quiet.Edges([]signal.Edge{{Time: 0, Level: signal.Off}})
	quiet.Samples(sampled(func(at time.Duration) int {
		if at%time.Second > 500*time.Millisecond && at%time.Second < 506*time.Millisecond {
			return 110
		}
		return 15
	}))
	v := &watchView{screen: screen{width: 80}, width: 80, height: 24, about: "bench of mine, my station", pace: "real", names: []string{"main", "programming"},
		filters: []live.Options{alone, options}, asks: true, waits: true, now: wave.now, tracks: make([]live.Snapshot, 2)}
	for i, track := range []*live.Track{busy, quiet} {
		track.Advance(wave.now)
		track.Snapshot(&v.tracks[i])
	}
	return v
}

func TestTheScreensOfWatch(t *testing.T) {
	for name, change := range map[string]func(v *watchView){
		"80x24":       func(*watchView) {},
		"200x50":      func(v *watchView) { v.width, v.height = 200, 50 },
		"100x36":      func(v *watchView) { v.width, v.height = 100, 36 },
		"60x18":       func(v *watchView) { v.width, v.height = 60, 18 },
		"40x10":       func(v *watchView) { v.width, v.height = 40, 10 },
		"limits":      func(v *watchView) { v.limits, v.width = true, 120 },
		"programming": func(v *watchView) { v.chosen, v.scale = 1, 1 },
		"asking":      func(v *watchView) { text := "read cv 2"; v.asking, v.recording = &text, "evening.vcd" },
		"paused":      func(v *watchView) { v.paused, v.message = true, "power main off: done" },
		"back":        func(v *watchView) { v.draw(); v.scroll("home") },
		"capture": func(v *watchView) {
			v.names, v.filters, v.tracks = []string{"bench.track"}, make([]live.Options, 1), v.tracks[:1]
			v.tracks[0].Events = nil
			v.asks, v.over, v.about = false, true, "capture evening.vcd"
		},
		"colour": func(v *watchView) { v.colour = true },
	} {
		t.Run(name, func(t *testing.T) {
			v := aBusyRig(t)
			change(v)
			got := strings.ReplaceAll(v.draw(), "\x1b", "ESC") + "\n"
			file := filepath.Join("testdata", "watch", name+".txt")
			if *updateScreens {
				require.NoError(t, os.WriteFile(file, []byte(got), 0o600))
			}
			want, err := os.ReadFile(file)
			require.NoError(t, err)
			assert.Equal(t, strings.ReplaceAll(string(want), "\r\n", "\n"), got, "write it anew with -update-screens if the change is meant")
		})
	}
}

func TestAScreenOfAnySizeIsFilledAndNothingIsWider(t *testing.T) {
	v := aBusyRig(t)
	rapid.Check(t, func(t *rapid.T) {
		v.width, v.height = rapid.IntRange(1, 240).Draw(t, "width"), rapid.IntRange(1, 70).Draw(t, "height")
		v.limits, v.colour = rapid.Bool().Draw(t, "limits"), rapid.Bool().Draw(t, "colour")
		v.chosen, v.scale = rapid.IntRange(0, 1).Draw(t, "chosen"), rapid.IntRange(0, len(live.Spans)-1).Draw(t, "scale")
		lines := strings.Split(v.draw(), "\n")
		require.Len(t, lines, v.height)
		for _, line := range lines {
			require.LessOrEqual(t, lipgloss.Width(line), v.width, "%q", line)
		}
	})
	v.colour = false
	assert.NotContains(t, v.draw(), "\x1b")
}

func TestWithoutColourEveryStateHasAWord(t *testing.T) {
	v := aBusyRig(t)
	for _, state := range []live.State{live.Unknown, live.Off, live.Signal, live.Positive, live.Negative, live.Lost} {
		v.tracks[0].State = state
		v.width = 80
		assert.Contains(t, v.draw(), string(state))
		v.width = 40
		assert.Contains(t, v.draw(), string(state))
	}
}

func TestScrollingStaysWhereItIsWhileTheListGrows(t *testing.T) {
	v := aBusyRig(t)
	numbered := func(from, to int) []live.Line {
		var lines []live.Line
		for i := from; i <= to; i++ {
			lines = append(lines, live.Line{Number: uint64(i), Count: 1, Meaning: fmt.Sprintf("line %d.", i), First: time.Duration(i) * time.Second})
		}
		return lines
	}
	shown := func() (numbers []string) {
		for line := range strings.Lines(v.draw()) {
			if _, rest, found := strings.Cut(line, "line "); found {
				numbers = append(numbers, strings.TrimRight(rest, ".…\n "))
			}
		}
		return numbers
	}
	v.tracks[0].Lines = numbered(1, 100)
	last := shown()
	require.Equal(t, "100", last[len(last)-1])
	v.scroll("up")
	v.scroll("up")
	assert.Equal(t, "98", shown()[len(last)-1])
	v.tracks[0].Lines = numbered(11, 110)
	assert.Equal(t, "98", shown()[len(last)-1])
	assert.Contains(t, v.draw(), "looking back")
	v.scroll("home")
	assert.Equal(t, "11", shown()[0])
	assert.Len(t, shown(), len(last))
	v.tracks[0].Lines = numbered(51, 150) // what was looked at is gone
	assert.Equal(t, "51", shown()[0])
	v.scroll("pgdown")
	assert.Greater(t, shown()[0], "51")
	v.scroll("end")
	assert.Equal(t, "150", shown()[len(last)-1])
	v.scroll("down")
	assert.Zero(t, v.back)
	v.tracks[0].Lines = nil
	v.scroll("up")
	assert.Zero(t, v.back)
}

func TestWhatStandsOnTheScreenAndIsNotOursIsEscaped(t *testing.T) {
	v := aBusyRig(t)
	text := "\x1b[2J\u202e"
	v.asking = &text
	assert.NotContains(t, v.draw(), "\x1b")
	assert.Contains(t, v.draw(), `\x1b[2J\u202e`)
}

func TestAChartShowsWhatIsHighAndWhatIsNot(t *testing.T) {
	columns := make([]live.Column, 4)
	for i, milliamperes := range []int{0, 100, 50} {
		columns[i] = live.Column{Count: 1, Most: physic.ElectricCurrent(milliamperes) * physic.MilliAmpere}
	}
	assert.Equal(t, []string{"   █  ", "  .██ "}, chartRowsOf(columns))
	assert.Equal(t, 50*physic.MilliAmpere, topOf(0))
	assert.Equal(t, 50*physic.MilliAmpere, topOf(50*physic.MilliAmpere))
	assert.Equal(t, 100*physic.MilliAmpere, topOf(51*physic.MilliAmpere))
	assert.Equal(t, 5*physic.Ampere, topOf(2001*physic.MilliAmpere))
}

func chartRowsOf(columns []live.Column) []string {
	return slices.Clone(chartRows(columns, 6, 2, 100*physic.MilliAmpere))
}
