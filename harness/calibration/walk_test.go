package calibration_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/calibration"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
)

// bench is a probe, a station and a user's hands with known faults: what a calibration is to find.
type bench struct {
	random *rand.Rand
	now    time.Duration // true time

	ppm, hostPPM float64 // true time over the probe's, and over the host's
	zero         float64 // counts
	gain         float64 // true current over what the probe's scale says
	loadGain     float64
	noise        float64 // amperes
	jitter       time.Duration
	ohms         float64 // across the rails; 0 for nothing
	volts        float64

	on        map[station.Track]bool
	level     map[station.Track]uint16
	safeCalls int
	fail      func(what string) error
}

func newBench(seed uint64) *bench {
	return &bench{random: rand.New(rand.NewPCG(seed, 1)), gain: 1, loadGain: 1, volts: 15, on: map[station.Track]bool{},
		level: map[station.Track]uint16{}, noise: 0.003, jitter: 20 * time.Nanosecond, fail: func(string) error { return nil }}
}

var channel = calibration.Channel{Track: station.Main, PerCount: 5.0 / 1023, Zero: 0, Full: 1023, PerStep: 0.02, Top: 255, Continuous: 50}

func (b *bench) ProbeIdentity() calibration.Probe {
	return calibration.Probe{Name: "two-track probe", Serial: 7, Clock: 16e6, SampleInterval: 500 * time.Microsecond,
		Channels: []calibration.Channel{channel}}
}
func (b *bench) CalibrationPath() string  { return "" }
func (b *bench) LoopLimit() time.Duration { return 5 * time.Millisecond }
func (b *bench) Safe() error {
	b.safeCalls++
	clear(b.level)
	return nil
}

func (b *bench) pass(d time.Duration) { b.now += d }

func (b *bench) Sync(context.Context) (calibration.SyncPair, error) {
	host := func() time.Duration { return time.Duration(float64(b.now) / (1 + b.hostPPM/1e6)) }
	sent := host()
	b.pass(time.Duration(300e3 + b.random.ExpFloat64()*200e3)) // a USB frame and what the system adds
	tick := math.Floor(float64(b.now) / (1 + b.ppm/1e6) / 62.5)
	b.pass(time.Duration(300e3 + b.random.ExpFloat64()*200e3))
	return calibration.SyncPair{Sent: sent, Received: host(), Probe: time.Duration(tick * 62.5)}, b.fail("sync")
}

func (b *bench) RawCurrent(_ context.Context, track station.Track, over time.Duration) ([]uint16, error) {
	var all []uint16
	for range int(over / (500 * time.Microsecond)) {
		b.pass(500 * time.Microsecond)
		amperes := 0.0
		if b.on[track] {
			if b.ohms > 0 {
				amperes += b.volts / b.ohms
			}
			amperes += float64(b.level[track]) * channel.PerStep * b.loadGain
		}
		amperes += b.random.NormFloat64() * b.noise
		all = append(all, uint16(min(max(math.Round(b.zero+amperes/b.gain/channel.PerCount), 0), 1023)))
	}
	return all, b.fail("current")
}

func (b *bench) Spans(_ context.Context, track station.Track, over time.Duration) ([]calibration.Span, error) {
	var all []calibration.Span
	before := 0.0 // how late the edge before was stamped
	for n, end := 0, b.now+over; b.now < end && b.on[track]; n++ {
		length := 58 * time.Microsecond
		if n%7 > 4 {
			length = 100 * time.Microsecond
		}
		b.pass(length)
		// The comparator is slower in one direction.
		asymmetry := float64(40 - 80*(n%2))
		late := b.random.NormFloat64() * float64(b.jitter)
		// The station makes some halves longer than others, by up to 300 ns.
		off := asymmetry + late - before + 300*b.random.Float64()
		before = late
		all = append(all, calibration.Span{Length: length + time.Duration(math.Round(off)), Positive: n%2 == 0})
	}
	return all, b.fail("spans")
}

func (b *bench) Draw(_ context.Context, track station.Track, level uint16) error {
	b.level[track] = level
	return b.fail("draw")
}

func (b *bench) LoopTimes(_ context.Context, track station.Track, n int) ([]time.Duration, error) {
	var all []time.Duration
	for i := range n {
		b.pass(10 * time.Millisecond)
		all = append(all, time.Duration(i+1)*10*time.Microsecond)
	}
	return all, b.fail("loop")
}

// walk returns a walk over the bench that answers from a list, and lays the resistor when told to.
func (b *bench) walk(answers map[string]string) (*calibration.Walk, *strings.Builder) {
	said := new(strings.Builder)
	return &calibration.Walk{
		Rig: b, Tracks: []station.Track{station.Main},
		Power: func(_ context.Context, track station.Track, on bool) error {
			b.on[track] = on
			return b.fail("power")
		},
		Wait: func(ctx context.Context, d time.Duration) error { b.pass(d); return ctx.Err() },
		Ask: func(q calibration.Question) (string, error) {
			fmt.Fprintln(said, "?", q.Text)
			switch {
			case strings.HasSuffix(q.Key, ".resistor"):
				b.ohms = 47.3
			case strings.HasSuffix(q.Key, ".load"):
				b.ohms = 0
			}
			if answer, ok := answers[q.Key]; ok {
				return answer, nil
			}
			if q.Key == "again" {
				return "", calibration.ErrNoAnswer
			}
			return "", nil
		},
		Say: func(text string) { fmt.Fprintln(said, text) },
		Now: time.Date(2026, 11, 26, 10, 0, 0, 0, time.UTC), Tool: "v1",
	}, said
}

// everything are the answers of somebody who does all that is asked, with a resistor of 47.3 Ω whose print says 47.
func everything() map[string]string {
	return map[string]string{"supervised": "yes", "main.ohms": "47.3 ohm", "main.tolerance": "0.5", "main.reading": "15.05 V", "main.accuracy": "1", "main.steady": "yes"}
}

// cold expects that nothing on the bench can heat.
func (b *bench) cold(t require.TestingT) {
	for track, on := range b.on {
		assert.False(t, on, "%s track", track)
	}
	for track, level := range b.level {
		assert.Zero(t, level, "load on the %s track", track)
	}
	assert.Positive(t, b.safeCalls)
}

func TestAWalkFindsWhatTheProbeIsOffBy(t *testing.T) {
	b := newBench(1)
	b.ppm, b.hostPPM, b.zero, b.gain, b.loadGain = 1234, 20, 12.3, 1.04, 0.97
	w, said := b.walk(everything())
	f, err := w.Run(t.Context())
	require.NoError(t, err, said.String())
	b.cold(t)
	track := f.Tracks[station.Main]
	require.NotNil(t, f.Time)
	assert.InDelta(t, 1234, f.Time.PPM, f.Time.U)
	assert.InDelta(t, 115, f.Time.U, 2, "the bound of the host's clock, 100 ppm over the square root of three, twice")
	assert.InDelta(t, 12.3, track.Zero.Value, track.Zero.U)
	assert.InDelta(t, 1.04, track.Gain.Value, track.Gain.U)
	assert.Less(t, track.Gain.U, 0.02)
	assert.InDelta(t, 0.97, track.Load.Value, track.Load.U)
	assert.InDelta(t, 28, float64(track.Edges.Deviation), 2, "20 ns of each edge; the asymmetry of the comparator and what the station does to halves are no want of repeatability")
	assert.True(t, track.Edges.Steady)
	assert.Equal(t, time.Millisecond, track.Loop.Median)
	assert.Equal(t, 1980*time.Microsecond, track.Loop.P99)
	assert.InDelta(t, 3, track.Noise.Milliamperes, 2)
	assert.Empty(t, f.Observations(b.ProbeIdentity(), w.Now))

	again, err := calibration.Parse("x", f.Text())
	require.NoError(t, err, string(f.Text()))
	assert.Equal(t, string(f.Text()), string(again.Text()))
}

// U is to hold the truth in about 95 of 100 walks. The host's clock and the meter are off by anything within their bounds.
func TestTheUncertaintiesOfAWalkHoldTheTruth(t *testing.T) {
	walks := uint64(200)
	if testing.Short() {
		walks = 40 // the race detector makes it slow
	}
	var clock, gain, load int
	for seed := range walks {
		b := newBench(seed)
		within := func(bound float64) float64 { return bound * (2*b.random.Float64() - 1) }
		b.ppm, b.hostPPM, b.zero, b.gain, b.loadGain = within(3000), within(2), 5+within(5), 1+within(0.05), 1+within(0.05)
		b.volts = 15
		answers := everything()
		answers["time.over"], answers["time.host_ppm"] = "10s", "2"
		answers["main.ohms"] = fmt.Sprint(47.3 * (1 + within(0.005)))
		answers["main.reading"] = fmt.Sprintf("%.6f V", 15*(1+within(0.01)))
		w, said := b.walk(answers)
		f, err := w.Run(t.Context())
		require.NoError(t, err, said.String())
		inside := func(x, u, truth float64) int {
			if math.Abs(x-truth) <= u {
				return 1
			}
			return 0
		}
		track := f.Tracks[station.Main]
		clock += inside(f.Time.PPM, f.Time.U, b.ppm)
		gain += inside(track.Gain.Value, track.Gain.U, b.gain)
		load += inside(track.Load.Value, track.Load.U, b.loadGain)
	}
	t.Logf("of %d walks U held the truth: clock %d, gain %d, load %d", walks, clock, gain, load)
	// 95 % of 200 is 190 with a standard deviation of 3; a rectangular part makes it more.
	for name, n := range map[string]int{"clock": clock, "gain": gain, "load": load} {
		assert.GreaterOrEqual(t, float64(n)/float64(walks), 0.9, name)
	}
}

func TestEveryQuestionCanCancelAndNothingStaysOn(t *testing.T) {
	b := newBench(1)
	var keys []string
	w, _ := b.walk(everything())
	ask := w.Ask
	w.Ask = func(q calibration.Question) (string, error) { keys = append(keys, q.Key); return ask(q) }
	_, err := w.Run(t.Context())
	require.NoError(t, err)
	require.Greater(t, len(keys), 9)
	for _, key := range keys {
		b := newBench(1)
		answers := everything()
		answers[key] = "cancel"
		w, _ := b.walk(answers)
		f, err := w.Run(t.Context())
		assert.ErrorIs(t, err, calibration.ErrCancelled, key)
		assert.Nil(t, f, key)
		b.cold(t)
	}
}

func TestAContextThatEndsLeavesNothingOn(t *testing.T) {
	step := 1
	if testing.Short() {
		step = 9 // the race detector makes it slow
	}
	for cut := 1; ; cut += step {
		b := newBench(1)
		ctx, cancel := context.WithCancel(t.Context())
		n := 0
		b.fail = func(string) error {
			if n++; n == cut {
				cancel()
			}
			return nil
		}
		w, _ := b.walk(map[string]string{"supervised": "yes", "time.over": "5s", "main.ohms": "47.3", "main.reading": "15.05 V"})
		wait := w.Wait
		w.Wait = func(ctx context.Context, d time.Duration) error { return errors.Join(wait(ctx, d), ctx.Err()) }
		_, err := w.Run(ctx)
		cancel()
		b.cold(t)
		if n < cut {
			require.NoError(t, err)
			assert.Greater(t, cut, 250, "every call of the rig was a place to end")
			return
		}
	}
}

func TestAFailureOfTheRigLeavesNothingOnAndIsTold(t *testing.T) {
	broken := errors.New("the probe is gone")
	for _, what := range []string{"sync", "current", "spans", "draw", "loop"} {
		b := newBench(1)
		b.fail = func(w string) error {
			if w == what {
				return broken
			}
			return nil
		}
		w, _ := b.walk(everything())
		_, err := w.Run(t.Context())
		assert.ErrorIs(t, err, broken, what)
		b.cold(t)
	}
}

func TestAStepThatFailsCanBeDoneAgainOrLeftOut(t *testing.T) {
	for answer, tries := range map[string]int{"again": 2, "skip": 1} {
		b := newBench(1)
		failures := 0
		b.fail = func(what string) error {
			if what == "loop" && failures == 0 {
				failures++
				return errors.New("no packet for 5 s")
			}
			return nil
		}
		answers := everything()
		answers["again"] = answer
		w, said := b.walk(answers)
		f, err := w.Run(t.Context())
		require.NoError(t, err)
		assert.Equal(t, tries == 2, f.Tracks[station.Main].Loop != nil)
		assert.Contains(t, said.String(), "no packet for 5 s")
		b.cold(t)
	}
}

func TestWhatIsSkippedIsNotInTheFile(t *testing.T) {
	b := newBench(1)
	w, _ := b.walk(map[string]string{"supervised": "yes", "time.over": "skip", "main.zero": "skip", "main.edges": "skip", "main.loop": "skip"})
	f, err := w.Run(t.Context())
	require.NoError(t, err)
	assert.Nil(t, f.Time)
	assert.Empty(t, f.Tracks)
	assert.Equal(t, []string{"not calibrated: the current of the main track, the load of the main track, the time base"},
		f.Observations(b.ProbeIdentity(), w.Now))
}

func TestNonsenseIsNotCalibratedAway(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*bench)
		want  string
	}{
		"a locomotive on the rails":     {func(b *bench) { b.ohms = 30 }, "that is no empty track"},
		"no resistor":                   {func(b *bench) { b.volts = 0.1 }, "want 50 at least"},
		"beyond the range":              {func(b *bench) { b.volts = 400 }, "beyond the range of the probe"},
		"ohms of another resistor":      {func(b *bench) { b.gain = 0.1 }, "no matter of calibration"},
		"a load that is not wired":      {func(b *bench) { b.loadGain = 0 }, "no matter of calibration"},
		"another crystal than is said":  {func(b *bench) { b.ppm = 250_000 }, "want 20000 at most"},
		"a probe's clock that is stuck": {func(b *bench) { b.ppm = 1e18 }, "stands still"},
	} {
		b := newBench(1)
		c.spoil(b)
		w, _ := b.walk(everything())
		_, err := w.Run(t.Context())
		assert.ErrorContains(t, err, c.want, name)
		b.cold(t)
	}
}

func TestAnswersThatAreNoneAreAskedForThreeTimes(t *testing.T) {
	for key, bad := range map[string]string{"supervised": "perhaps", "time.over": "1s", "time.host_ppm": "0", "main.zero": "no", "main.ohms": "0.1",
		"main.tolerance": "NaN", "main.accuracy": "-1", "main.reading": "15.2", "main.load": "on"} {
		b := newBench(1)
		answers := everything()
		answers[key] = bad
		w, said := b.walk(answers)
		_, err := w.Run(t.Context())
		var wrong *calibration.AnswerError
		require.ErrorAs(t, err, &wrong, key)
		assert.Equal(t, key, wrong.Key)
		assert.Equal(t, 2, strings.Count(said.String(), "is no answer here"), key)
		b.cold(t)
	}
}

// A busy computer holds up one exchange in ten by much more than all others take.
func TestExchangesThatWereHeldUpDoNotSpoilTheTimeBase(t *testing.T) {
	b := newBench(3)
	b.ppm = -55
	n := 0
	b.fail = func(what string) error {
		if n++; what == "sync" && n%10 == 0 {
			b.pass(30 * time.Millisecond)
		}
		return nil
	}
	answers := everything()
	answers["time.host_ppm"] = "1"
	w, _ := b.walk(answers)
	f, err := w.Run(t.Context())
	require.NoError(t, err)
	assert.InDelta(t, -55, f.Time.PPM, f.Time.U)
	assert.Less(t, f.Time.U, 3.0)
}

func TestClocksThatJumpAreNotFitted(t *testing.T) {
	for _, jump := range []time.Duration{100 * time.Millisecond, 20 * time.Millisecond} {
		b := newBench(3)
		n := 0
		b.fail = func(what string) error {
			if what == "sync" {
				if n++; n == 100 {
					b.ppm += 1e6 * jump.Seconds() / b.now.Seconds() // from here on the probe is so much behind
				}
			}
			return nil
		}
		w, _ := b.walk(everything())
		_, err := w.Run(t.Context())
		assert.ErrorContains(t, err, "the clocks have jumped against each other")
		b.cold(t)
	}
}

func TestBudgetsTellACalibratedProbeFromOthers(t *testing.T) {
	b := newBench(1)
	p := b.ProbeIdentity()
	w, _ := b.walk(everything())
	f, err := w.Run(t.Context())
	require.NoError(t, err)
	u := func(f *calibration.File, quantity string, value float64) float64 {
		budget, ok := uncertainty.Of(calibration.Budgets(p, f), quantity, "main")
		require.True(t, ok, quantity)
		require.NoError(t, budget.Check())
		return budget.Expanded(value)
	}
	// A half of a one: a resonator may be off by half a percent, 2·290/√3 = 335 ns, the comparator's delays by 2·100/√3 = 115 ns, its
	// threshold by 2·2·30/√3 = 69 ns.
	assert.InDelta(t, 364, u(nil, uncertainty.EdgeTime, 58_000), 5)
	assert.InDelta(t, 155, u(f, uncertainty.EdgeTime, 58_000), 10)
	// A packet's time grows with the clock's part only.
	assert.InDelta(t, 30e6*5000e-6*2/math.Sqrt(3), u(nil, uncertainty.EdgeTime, 30e6), 100)
	assert.Less(t, u(f, uncertainty.EdgeTime, 30e6), 30e6*150e-6)
	assert.Greater(t, u(f, uncertainty.EdgeTime, 30e6), 30e6*100e-6)
	assert.Greater(t, u(nil, uncertainty.Current, 1000), 2*u(f, uncertainty.Current, 1000))

	only := p
	only.CaptureOnly = true
	budget, _ := uncertainty.Of(calibration.Budgets(only, nil), uncertainty.EdgeTime, "main")
	assert.InDelta(t, 144, budget.Expanded(58_000), 5, "a crystal")
	assert.True(t, p.Calibrates())
	assert.False(t, only.Calibrates())
	assert.Empty(t, calibration.Budgets(calibration.Probe{}, nil))
	assert.Contains(t, (*calibration.File)(nil).Observations(only, w.Now)[0], "cannot be calibrated here")

	f.Serial++
	assert.Nil(t, f.For(p))
	assert.Equal(t, calibration.Budgets(p, nil), calibration.Budgets(p, f), "what was found with one probe says nothing about another")
	assert.Zero(t, f.For(p).PPM())
	_, gain, known := f.For(p).Current(station.Main)
	assert.EqualValues(t, 1, gain)
	assert.False(t, known)
}
