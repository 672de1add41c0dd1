package analyser

import (
	"context"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// slow is how long anything may take on a busy machine.
const slow = 20 * time.Second

// heard is a sink that keeps all and holds the rules of a sink.
type heard struct {
	t        testing.TB
	edges    [probe.MaxTracks][]signal.Edge
	lost     [][2]time.Duration
	complete time.Duration
	events   []probe.Event
}

func (h *heard) Edges(track int, e []signal.Edge) {
	for _, e := range e {
		require.GreaterOrEqual(h.t, e.Time, h.complete, "before what was complete")
		if n := len(h.edges[track]); n > 0 {
			require.GreaterOrEqual(h.t, e.Time, h.edges[track][n-1].Time)
		}
		h.edges[track] = append(h.edges[track], e)
	}
}
func (h *heard) Samples(int, []current.Sample) { h.t.Error("samples of current") }
func (h *heard) Lost(_ int, from, to time.Duration) {
	require.Less(h.t, from, to)
	h.lost = append(h.lost, [2]time.Duration{from, to})
}
func (h *heard) Complete(until time.Duration) {
	require.GreaterOrEqual(h.t, until, h.complete)
	for _, edges := range h.edges {
		if n := len(edges); n > 0 {
			require.Less(h.t, edges[n-1].Time, until, "after what is complete")
		}
	}
	h.complete = until
}
func (h *heard) Event(e probe.Event) { h.events = append(h.events, e) }

// play opens an analyser whose program is this test in a role.
func play(t *testing.T, role string, o Options) (*Analyser, error) {
	t.Helper()
	t.Setenv(childRole, role)
	t.Setenv("GORACE", "atexit_sleep_ms=0")
	o.Command = []string{os.Args[0]}
	x, err := Open(t.Context(), "sigrok:driver=x,channel=D0,samplerate=1MHz", o)
	if err == nil {
		t.Cleanup(func() { require.NoError(t, x.Close()) })
	}
	return x, err
}

// pump pumps until there is an error or enough is complete.
func pump(t testing.TB, x probe.Source, until time.Duration) (*heard, error) {
	h := &heard{t: t}
	for end := time.Now().Add(slow); time.Now().Before(end); {
		if _, err := x.Pump(context.Background(), time.Second, h); err != nil || h.complete >= until {
			return h, err
		}
	}
	require.Fail(t, "not complete in time", "%v of %v", h.complete, until)
	return h, nil
}

func TestEdgesComeAtTheirSamples(t *testing.T) {
	for _, role := range []string{"slow", "announces"} {
		x, err := play(t, role, Options{})
		require.NoError(t, err)
		h, err := pump(t, x, 2*time.Millisecond)
		require.NoError(t, err)
		require.Greater(t, len(h.edges[0]), 20)
		for i, e := range h.edges[0] {
			require.Equal(t, signal.Edge{Time: time.Duration(i) * 58 * time.Microsecond, Level: signal.Level(2*(i&1) - 1)}, e)
		}
		assert.Equal(t, uint32(1e6), x.Hello().Clock)
		assert.Equal(t, probe.SeesEdges, x.Hello().Features)
		require.NoError(t, x.Close())
		require.NoError(t, x.Close())
		_, err = x.Pump(t.Context(), 0, h)
		for err == nil {
			_, err = x.Pump(t.Context(), 0, h)
		}
		require.ErrorIs(t, err, probe.ErrClosed)
	}
}

func TestTimesAreCorrectedByTheCalibration(t *testing.T) {
	x, err := play(t, "ends well", Options{PPM: 1000})
	require.NoError(t, err)
	h, err := pump(t, x, time.Hour)
	require.ErrorIs(t, err, probe.ErrLost)
	require.Len(t, h.edges[0], 100)
	assert.Equal(t, 99*58*time.Microsecond*1001/1000, h.edges[0][99].Time)
	assert.Equal(t, 5800*time.Microsecond*1001/1000, h.complete)
}

func TestAProgramThatEndsIsALossThatSaysHow(t *testing.T) {
	x, err := play(t, "dies", Options{})
	require.NoError(t, err)
	h, err := pump(t, x, time.Hour)
	require.ErrorIs(t, err, probe.ErrLost)
	assert.ErrorContains(t, err, "exit status 7")
	assert.ErrorContains(t, err, `device only sent \\x1b[2J1 sample`)
	assert.Len(t, h.edges[0], 100, "what it said before is not lost")
	assert.False(t, x.Health().Connected)
	assert.Contains(t, x.Notes()[0], `device only sent \x1b[2J1 sample`)
	_, again := x.Pump(t.Context(), time.Hour, h)
	assert.Equal(t, err, again, "it stays so, and at once")
}

func TestAFloodIsBoundedAndWhatHasNoRoomIsLost(t *testing.T) {
	x, err := play(t, "floods", Options{QueueEdges: 1000})
	require.NoError(t, err)
	require.Eventually(t, func() bool { return x.Health().Dropped > 100_000 }, slow, time.Millisecond)
	h, err := pump(t, x, 0)
	require.NoError(t, err)
	require.Len(t, h.lost, 1)
	assert.Equal(t, 1000, len(h.edges[0]))
	assert.Equal(t, 1000*time.Microsecond, h.lost[0][0], "from the first that had no room")
	assert.Equal(t, h.complete, h.lost[0][1])
	health := x.Health()
	assert.Equal(t, 1000, health.QueueHigh)
	assert.EqualValues(t, 1, health.Losses)
	assert.Equal(t, h.lost[0][1]-h.lost[0][0], health.LostTime)
	for range 100 { // and so on
		_, err := x.Pump(t.Context(), time.Second, h)
		require.NoError(t, err)
	}
	start := time.Now()
	require.NoError(t, x.Close())
	assert.Less(t, time.Since(start), slow)
}

func TestSamplesThatTheDriverLostMakeAStretchUnusable(t *testing.T) {
	goes := filepath.Join(t.TempDir(), "goes")
	t.Setenv(childGoes, goes)
	x, err := play(t, "loses", Options{})
	require.NoError(t, err)
	h, err := pump(t, x, 5800*time.Microsecond)
	require.NoError(t, err)
	require.Len(t, h.edges[0], 100)
	require.NoError(t, os.WriteFile(goes+"1", nil, 0o600))
	require.Eventually(t, func() bool { return len(x.Notes()) > 0 }, slow, time.Millisecond)
	assert.Equal(t, []string{"sigrok-cli says: fx: FIFO overrun, samples lost"}, x.Notes())
	require.NoError(t, os.WriteFile(goes+"2", nil, 0o600))
	more, err := pump(t, x, 11*time.Millisecond)
	require.NoError(t, err)
	assert.Equal(t, [][2]time.Duration{{5800 * time.Microsecond, 11600 * time.Microsecond}}, more.lost)
	assert.Empty(t, more.edges[0])
	assert.EqualValues(t, 1, x.Health().Implausible)
}

func TestAProgramThatDoesNotStopIsEnded(t *testing.T) {
	x, err := play(t, "never stops", Options{})
	require.NoError(t, err)
	_, err = pump(t, x, time.Millisecond)
	require.NoError(t, err)
	start := time.Now()
	require.NoError(t, x.Close())
	assert.Less(t, time.Since(start), slow)
}

func TestTextInsteadOfSamplesIsNoSignal(t *testing.T) {
	x, err := play(t, "garbage", Options{})
	require.NoError(t, err)
	h, err := pump(t, x, time.Hour)
	require.ErrorIs(t, err, probe.ErrLost)
	r := signal.NewReceiver(signal.StationReading(), nil)
	r.Edges(h.edges[0])
	r.Finish(h.complete)
	assert.Zero(t, r.Statistics().Packets)
}

func TestAnAnalyserThatDoesNotOpenSaysWhy(t *testing.T) {
	for role, want := range map[string]string{
		"no device":        `exit status 1; its last line on standard error: "No devices found."`,
		"captures nothing": "ended well without a capture",
		"shows nothing":    "got no logic samples, want some",
	} {
		_, err := play(t, role, Options{})
		require.ErrorContains(t, err, want)
	}
	t.Setenv(childRole, "slow")
	_, err := Open(t.Context(), "sigrok:driver=x,channel=D7", Options{Command: []string{os.Args[0]}})
	require.ErrorContains(t, err, `channel: got "D7", want one of "D0 D1"`)
	t.Setenv("PATH", t.TempDir())
	_, err = Open(t.Context(), "sigrok:driver=x,channel=D0", Options{})
	require.ErrorIs(t, err, ErrNoProgram)
}

func TestOpeningCanBeGivenUp(t *testing.T) {
	t.Setenv(childRole, "hangs at first")
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	start := time.Now()
	_, err := Open(ctx, "sigrok:driver=x,channel=D0", Options{Command: []string{os.Args[0]}})
	require.Error(t, err)
	assert.Less(t, time.Since(start), slow)
}

func TestDriftIsTheSlopeOfTheEarliestArrivals(t *testing.T) {
	var d drift
	for host := time.Duration(0); host < 100*time.Second; host += 5 * time.Millisecond {
		samples := host + host/10_000 // 100 ppm fast
		late := host * 7919 % (40 * time.Millisecond)
		assert.Less(t, d.add(host+late, samples), 100*time.Millisecond)
	}
	got := d.drift()
	assert.InDelta(t, 100, got.PPM, max(got.U, 5))
	assert.Less(t, got.U, 200.0)
}

// handClock is a clock that stands where it is put.
type handClock struct{ now atomic.Int64 }

func (c *handClock) Now() time.Duration                        { return time.Duration(c.now.Load()) }
func (c *handClock) Wait(context.Context, time.Duration) error { return nil }

func TestAnAnalyserThatFallsSilentIsLost(t *testing.T) {
	clock := &handClock{}
	x, err := play(t, "never stops", Options{Clock: clock})
	require.NoError(t, err)
	h, err := pump(t, x, 5800*time.Microsecond)
	require.NoError(t, err)
	clock.now.Add(int64(5 * time.Second))
	some, err := x.Pump(t.Context(), 300*time.Millisecond, h)
	require.NoError(t, err)
	require.False(t, some)
	clock.now.Add(1)
	_, err = pump(t, x, time.Hour)
	require.ErrorIs(t, err, probe.ErrLost)
	assert.ErrorContains(t, err, "no samples for 5s")
}

func TestABusyHostLosesNothingAndSamplesThatStayBehindAreMissing(t *testing.T) {
	run := func(lag func(host time.Duration) time.Duration) (fell time.Duration, at time.Duration) {
		var d drift
		for host := time.Duration(0); host < time.Minute; host += 10 * time.Millisecond {
			if behind := d.add(host, host-lag(host)); behind > fallLimit {
				return behind, host
			}
		}
		return 0, 0
	}
	fell, _ := run(func(host time.Duration) time.Duration {
		if host > 20*time.Second && host < 22*time.Second {
			return time.Second
		}
		return host / 1000 // and a clock that is slow by 1000 ppm
	})
	assert.Zero(t, fell)
	fell, at := run(func(host time.Duration) time.Duration {
		if host > 20*time.Second {
			return 300 * time.Millisecond
		}
		return 0
	})
	assert.Equal(t, 300*time.Millisecond, fell)
	assert.Less(t, at, 26*time.Second)
}
