package rigcheck_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness"
	"bufferstop/harness/calibration"
	"bufferstop/harness/station"
	"bufferstop/suites/rigcheck"
)

// probed is a bare rig with a probe on the main track.
type probed struct {
	*bare
	loop  time.Duration // the longest of its loop times
	fails error
	file  *calibration.File
	power []string // what the station was told
	safe  int
}

func (p *probed) ProbeIdentity() calibration.Probe {
	return calibration.Probe{Name: "probe", Serial: 7, Clock: 16e6, SampleInterval: 500 * time.Microsecond,
		Channels: []calibration.Channel{{Track: station.Main, PerCount: 0.005, Full: 1023, PerStep: 0.02, Top: 255, Continuous: 50}}}
}
func (p *probed) CalibrationPath() string                                { return "r.calibration.toml" }
func (p *probed) Sync(context.Context) (s calibration.SyncPair, _ error) { return s, p.fails }
func (p *probed) RawCurrent(context.Context, station.Track, time.Duration) ([]uint16, error) {
	return nil, p.fails
}
func (p *probed) Spans(context.Context, station.Track, time.Duration) ([]calibration.Span, error) {
	return nil, p.fails
}
func (p *probed) Draw(context.Context, station.Track, uint16) error { return p.fails }
func (p *probed) LoopLimit() time.Duration                          { return 5 * time.Millisecond }
func (p *probed) Safe() error                                       { p.safe++; return nil }
func (p *probed) LoopTimes(_ context.Context, _ station.Track, n int) (all []time.Duration, err error) {
	for i := range n {
		all = append(all, p.loop*time.Duration(i+1)/time.Duration(n))
	}
	return all, p.fails
}

func (p *probed) Describe() harness.Description {
	d := p.bare.Describe()
	d.Budgets = calibration.Budgets(p.ProbeIdentity(), p.file)
	d.Calibration = p.file.For(p.ProbeIdentity())
	d.Observations = p.file.Observations(p.ProbeIdentity(), time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC))
	return d
}

func newProbed(t *testing.T, loop time.Duration) *probed {
	p := &probed{loop: loop}
	p.bare = newBare(t, func(message string) string {
		if rest, is := strings.CutPrefix(message, "TRAC:POW "); is {
			asked, _, _ := strings.Cut(rest, ";")
			p.power = append(p.power, asked)
		}
		switch {
		case strings.HasSuffix(message, "SYST:ERR?"):
			return "0,\"No error\"\n"
		case strings.HasSuffix(message, "*OPC?"):
			return "1\n"
		}
		return reference(message)
	})
	return p
}

func calibrated(t *testing.T, more string) *calibration.File {
	t.Helper()
	f, err := calibration.Parse("x", []byte("date = 2026-11-26T10:00:00Z\n[probe]\nname = \"probe\"\nserial = 7\n"+
		"[time]\nppm = 12\nu_ppm = 3\nover = \"1m\"\nhost_ppm = 2\n[main]\nzero = 1.0\nu_zero = 0.1\ngain = 1.0\nu_gain = 0.01\nload_gain = 1.0\nu_load_gain = 0.01\n"+more))
	require.NoError(t, err)
	return f
}

func TestAProbeWithoutCalibrationIsARemark(t *testing.T) {
	r := check(t, newProbed(t, time.Millisecond))
	assert.Equal(t, rigcheck.Remark, r.Worst(), found(r))
	assert.Contains(t, found(r), "the probe is not calibrated")
	assert.Contains(t, found(r), "rig check --calibrate")
	require.NotNil(t, r.Calibration)
	assert.Empty(t, r.Calibration.Date)
	assert.Empty(t, r.Loops, "nothing is switched on for it")
	assert.NotEmpty(t, r.Uncertainties)
}

func TestTheCalibrationTellsWhatItFound(t *testing.T) {
	p := newProbed(t, 0)
	p.file = calibrated(t, "loop_median = \"3ms\"\nloop_p99 = \"4.5ms\"\nloop_events = 200\n")
	r := check(t, p)
	assert.NotContains(t, found(r), "calibrat")
	assert.Equal(t, "2026-11-26", r.Calibration.Date)
	assert.Equal(t, "2027-11-26", r.Calibration.Until)
	assert.InDelta(t, 12, *r.Calibration.PPM, 0)
	require.Len(t, r.Loops, 1)
	assert.Equal(t, rigcheck.Loop{Track: "main", Events: 200, Median: 3 * time.Millisecond, P99: 4500 * time.Microsecond, U: r.Loops[0].U,
		Limit: 5 * time.Millisecond, Calibrated: "2026-11-26"}, r.Loops[0])
	assert.InDelta(t, 577_350, float64(r.Loops[0].U), 10, "a sample interval, 2/√3 of it")
	assert.Empty(t, p.power)
}

func TestALoopThatIsTooSlowIsSaid(t *testing.T) {
	for loop, late := range map[time.Duration]bool{4 * time.Millisecond: false, 6 * time.Millisecond: true} {
		p := newProbed(t, loop)
		p.file = calibrated(t, "")
		r, err := rigcheck.Check(t.Context(), p, file(t), rigcheck.Options{Loop: true})
		require.NoError(t, err)
		require.Len(t, r.Loops, 1, found(r))
		assert.Equal(t, loop/2, r.Loops[0].Median)
		assert.Equal(t, loop*99/100, r.Loops[0].P99)
		assert.Empty(t, r.Loops[0].Calibrated)
		assert.Equal(t, !late, r.Loops[0].Suits())
		assert.Equal(t, late, strings.Contains(found(r), "the loop time of the main track is too long: 99 of 100 take up to 5.94ms, and S-9.2.3 leaves 5ms"), found(r))
		assert.Equal(t, []string{"MAIN,ON", "MAIN,OFF"}, p.power)
		assert.Positive(t, p.safe)
	}
}

func TestALoopThatCannotBeMeasuredLeavesNothingOn(t *testing.T) {
	p := newProbed(t, time.Millisecond)
	p.fails = errors.New("no packet in 1 s")
	r, err := rigcheck.Check(t.Context(), p, file(t), rigcheck.Options{Loop: true})
	require.NoError(t, err)
	assert.Equal(t, rigcheck.Fault, r.Worst())
	assert.Contains(t, found(r), "the loop time of the main track could not be measured: no packet in 1 s")
	assert.Equal(t, []string{"MAIN,ON", "MAIN,OFF"}, p.power)
	assert.Positive(t, p.safe)
}
