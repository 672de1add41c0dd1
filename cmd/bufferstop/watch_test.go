package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"bufferstop/harness/live"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
)

// aSource is watched, or does not work.
type aSource struct {
	*watching
	now    time.Duration
	steps  []time.Duration
	obeyed []order
	closed int
	fails  func() error
}

func newSource() *aSource {
	s := new(aSource)
	s.watching = newWatching(s, "a source", []string{"main"}, make([]live.Options, 1))
	return s
}

func (s *aSource) begin(context.Context) error { return nil }

func (s *aSource) step(_ context.Context, d time.Duration) (time.Duration, error) {
	s.steps = append(s.steps, d)
	s.now += d
	if s.fails != nil {
		return s.now, s.fails()
	}
	return s.now, nil
}

func (s *aSource) obey(_ context.Context, o order) { s.obeyed = append(s.obeyed, o) }
func (s *aSource) pauses() bool                    { return true }
func (s *aSource) close(context.Context) error     { s.closed++; return nil }

func nothing() error { return nil }

func TestAWatchLastsAsLongAsItIsTold(t *testing.T) {
	s := newSource()
	s.now = time.Hour
	require.NoError(t, s.watch(t.Context(), 0, 1234*time.Millisecond, nothing))
	assert.Equal(t, time.Hour+1234*time.Millisecond, s.now)
	assert.Equal(t, s.now, s.watching.now)
}

func TestAWatchKeepsItsPace(t *testing.T) {
	s := newSource()
	begun := time.Now()
	require.NoError(t, s.watch(t.Context(), 10, time.Second, nothing))
	// It cannot be faster; how much slower it is depends on the machine.
	assert.GreaterOrEqual(t, time.Since(begun), 75*time.Millisecond)
}

func TestThatThePaceIsNotKeptIsSaid(t *testing.T) {
	s := newSource()
	s.fails = func() error { time.Sleep(behind + 50*time.Millisecond); return nil }
	require.NoError(t, s.watch(t.Context(), 1, 100*time.Millisecond, nothing))
	assert.WithinDuration(t, time.Now(), s.slow, time.Minute)
	v := aBusyRig(t)
	v.slow = true
	assert.Contains(t, v.draw(), "pace real, which cannot be kept")
}

func TestAPauseStopsTheTimeAndOrdersAreObeyedInIt(t *testing.T) {
	s := newSource()
	s.paused = true
	s.request("power main on")
	rounds := 0
	require.NoError(t, s.watch(t.Context(), 0, time.Second, func() error {
		if rounds++; rounds == 4 {
			assert.Zero(t, s.now)
			assert.Equal(t, []order{"power main on"}, s.obeyed)
			s.paused = false
		}
		return nil
	}))
	assert.Equal(t, time.Second, s.now)
}

func TestTooManyOrdersAreRefused(t *testing.T) {
	s := newSource()
	for range ordersWaiting + 1 {
		s.request("power main on")
	}
	assert.Equal(t, "the station has not answered yet; power main on is not asked for", s.message)
}

func TestAWatchEndsWithItsSourceWithItsContextOrWithAnError(t *testing.T) {
	s := newSource()
	s.fails = func() error { return io.EOF }
	require.NoError(t, s.watch(t.Context(), 0, 0, nothing))
	s.fails = func() error { return os.ErrInvalid }
	require.ErrorIs(t, s.watch(t.Context(), 0, 0, nothing), os.ErrInvalid)
	s.fails = nil
	require.ErrorIs(t, s.watch(t.Context(), 0, 0, func() error { return io.ErrClosedPipe }), io.ErrClosedPipe)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.NoError(t, s.watch(ctx, 1, 0, nothing))
}

func TestAPanicWhileWatchingMakesEverythingSafeAndComesToLight(t *testing.T) {
	s := newSource()
	s.fails = func() error { panic("broken") }
	err := watchSafely(t.Context(), s.watching, &watchCommand{})
	var crash panicked
	require.ErrorAs(t, err, &crash)
	assert.Equal(t, "broken", crash.value)
	assert.Contains(t, crash.Error(), "watch_test.go", "the trace is that of the fault")
	assert.Equal(t, 1, s.closed)
}

func TestAPanicOfTheScreenEndsIt(t *testing.T) {
	m := &watchScreen{} // which has nothing to look at
	_, cmd := m.Update(drawMsg{})
	assert.NotNil(t, m.crashed)
	require.NotNil(t, cmd)
	assert.Equal(t, tea.Quit(), cmd())
	assert.Empty(t, m.View().Content)
}

func TestWorseKeepsWhatDecides(t *testing.T) {
	interrupted, unsafe := exit{code: 130}, exit{3, errors.New("not off")}
	assert.NoError(t, worse(nil, nil))
	assert.Equal(t, interrupted, worse(interrupted, nil))
	assert.Equal(t, unsafe, worse(interrupted, unsafe))
	assert.Equal(t, unsafe, worse(nil, unsafe))
	var e exit
	require.ErrorAs(t, worse(os.ErrInvalid, unsafe), &e)
	assert.Equal(t, 3, e.code)
	assert.ErrorIs(t, e.err, os.ErrInvalid)
}

// watchSimulated watches the simulated rig.
func watchSimulated(t *testing.T, power ...string) (*watching, *simulated.Rig) {
	t.Helper()
	rig, err := simulated.New(simulated.Options{Seed: 1})
	require.NoError(t, err)
	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	return watchRig(&openRig{Rig: rig, file: file}, rig.Describe(), power, nil), rig
}

func TestAShortOnTheMainTrackIsATripOnTheScreen(t *testing.T) {
	w, rig := watchSimulated(t, "main")
	require.NoError(t, w.watch(t.Context(), 0, 500*time.Millisecond, nothing))
	require.NoError(t, rig.Track(station.Main).Short(500*physic.MilliOhm))
	require.NoError(t, w.watch(t.Context(), 0, 500*time.Millisecond, nothing))
	var s live.Snapshot
	w.tracks[0].Snapshot(&s)
	assert.EqualValues(t, 1, s.Trips)
	assert.Equal(t, live.Off, s.State)
	require.NoError(t, w.close(t.Context()))
	require.NoError(t, w.close(t.Context()))
}

// aRecording makes a recorder of a file and says what is in the file at the end.
func aRecording(t *testing.T, name string, names ...string) (*recorder, func() map[string][]signal.Edge) {
	t.Helper()
	w := &watchCommand{record: filepath.Join(t.TempDir(), name)}
	r, err := w.openRecord(nil, names)
	require.NoError(t, err)
	return r, func() map[string][]signal.Edge {
		found := map[string][]signal.Edge{}
		for _, name := range names {
			capture, err := signal.OpenCapture(w.record, nil)
			require.NoError(t, err)
			require.NoError(t, capture.Choose(name))
			edges := make([]signal.Edge, 100)
			n, err := capture.Read(edges)
			require.NoError(t, err)
			found[name] = edges[:n]
			require.NoError(t, capture.Close())
		}
		return found
	}
}

func TestARecordingHasTheEdgesOfBothTracksInOrder(t *testing.T) {
	for _, name := range []string{"plain.vcd", "packed.vcd.gz"} {
		r, read := aRecording(t, name, "main", "programming")
		edge := func(t int, l signal.Level) signal.Edge { return signal.Edge{Time: time.Duration(t), Level: l} }
		r.add(0, edge(0, signal.Positive), edge(50, signal.Negative), edge(120, signal.Positive))
		r.add(1, edge(0, signal.Off), edge(70, signal.Positive))
		require.NoError(t, r.write(100))
		r.add(1, edge(110, signal.Negative))
		require.NoError(t, r.write(200))
		r.add(0, edge(300, signal.Off))
		require.NoError(t, r.close(400))
		require.NoError(t, r.close(400))
		assert.Equal(t, map[string][]signal.Edge{
			"main":        {edge(0, signal.Positive), edge(50, signal.Negative), edge(120, signal.Positive), edge(300, signal.Off)},
			"programming": {edge(0, signal.Off), edge(70, signal.Positive), edge(110, signal.Negative)},
		}, read())
	}
}

func TestAnEdgeThatComesTooLateIsLeftOutAndSaid(t *testing.T) {
	r, read := aRecording(t, "late.vcd", "main")
	r.add(0, signal.Edge{Time: 100, Level: signal.Positive})
	require.NoError(t, r.write(200))
	r.add(0, signal.Edge{Time: 50, Level: signal.Negative})
	require.NoError(t, r.write(300))
	err := r.close(400)
	require.Error(t, err)
	var e exit
	require.ErrorAs(t, err, &e)
	assert.ErrorContains(t, e.err, "lacks 1 edges")
	assert.Len(t, read()["main"], 1)
}

func TestARecordingThatCannotBeWrittenIsSaidOnce(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no device here that is always full: ", err)
	}
	r := &recorder{name: "full", file: full, vcd: signal.NewVCDWriter(full, "main")} // never flushed: at once
	r.add(0, signal.Edge{Time: 1, Level: signal.Positive})
	err = r.write(10)
	require.Error(t, err)
	assert.Contains(t, errors.Unwrap(err).Error(), "cannot write the recording")
	require.NoError(t, r.write(20))
	require.NoError(t, r.close(30))
}

func TestNoRecorderRecordsNothing(t *testing.T) {
	var r *recorder
	r.add(0, signal.Edge{})
	require.NoError(t, r.write(1))
	require.NoError(t, r.close(1))
}

func TestWhatIsHeldBackComesOutLater(t *testing.T) {
	var out strings.Builder
	h := &heldBack{out: &out}
	_, _ = io.WriteString(h, "a")
	h.hold()
	_, _ = io.WriteString(h, "b")
	assert.Equal(t, "a", out.String())
	_, _ = h.Write(make([]byte, heldBytes))
	h.release()
	_, _ = io.WriteString(h, "c")
	assert.Equal(t, "abc", out.String())
}

func TestTheWordsForAPace(t *testing.T) {
	for text, want := range map[string]string{"real": "real", "max": "max", "10": "10", "0.5": "0.5", "1": "real"} {
		p := paceFlag(7)
		require.NoError(t, p.Set(text))
		assert.Equal(t, want, p.String())
	}
	for _, text := range []string{"", "0", "-1", "NaN", "Inf", "fast", "1e9"} {
		p := paceFlag(7)
		require.Error(t, p.Set(text), text)
		assert.EqualValues(t, 7, p)
	}
}
