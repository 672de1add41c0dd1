package examination

import (
	"fmt"
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
)

// frail is a rig whose hardware fails.
type frail struct {
	harness.Rig
	fault   error
	mishaps harness.Mishaps
}

func (f *frail) Fault() error             { return f.fault }
func (f *frail) Mishaps() harness.Mishaps { return f.mishaps }
func (f *frail) Remarks() []string        { return nil }

func TestWhatIsFoundWhileTheRigFailsStandsNeitherWay(t *testing.T) {
	lost := fmt.Errorf("%w: the probe is gone", harness.ErrRig)
	for name, c := range map[string]struct {
		rig  frail
		lost time.Duration // in a watch that the check looked at
		was  verdict.Verdict
		want verdict.Verdict
		why  string
	}{
		"nothing":                      {was: verdict.Pass, want: verdict.Pass},
		"a failure":                    {was: verdict.Fail, want: verdict.Fail},
		"an underrun and a pass":       {frail{mishaps: harness.Mishaps{Underruns: 3}}, 0, verdict.Pass, verdict.Inconclusive, "the load followed the fake decoder too late (2 times)"},
		"an underrun and a failure":    {frail{mishaps: harness.Mishaps{Underruns: 2}}, 0, verdict.Fail, verdict.Inconclusive, "the load followed the fake decoder too late"},
		"an underrun before the check": {frail{mishaps: harness.Mishaps{Underruns: 1}}, 0, verdict.Pass, verdict.Pass, ""},
		"a busy host and a failure":    {frail{mishaps: harness.Mishaps{HeldUp: 1}}, 0, verdict.Fail, verdict.Inconclusive, "the host was busy"},
		"a busy host and a pass":       {frail{mishaps: harness.Mishaps{HeldUp: 1}}, 0, verdict.Pass, verdict.Pass, ""},
		"a lost stretch and a failure": {frail{}, time.Millisecond, verdict.ConditionalFail, verdict.Inconclusive, "the probe lost 1ms of the signal"},
		"a lost stretch and a pass":    {frail{}, time.Millisecond, verdict.Pass, verdict.Inconclusive, "the probe lost 1ms of the signal"},
		"a probe that is gone":         {frail{fault: lost}, 0, verdict.Fail, verdict.Error, "the probe is gone"},
		"an error of ours stays one":   {frail{mishaps: harness.Mishaps{Opened: 1}}, 0, verdict.Error, verdict.Error, ""},
	} {
		rig := c.rig
		x := &Check{Session: &harness.Session{Rig: &rig}, Result: record.Result{Verdict: c.was}}
		x.mishaps.Underruns = min(1, rig.mishaps.Underruns)
		w := &harness.Watch{LostTime: c.lost}
		x.watches = append(x.watches, w)
		x.Look(w) // the same twice counts once
		x.lookAtRig()
		assert.Equal(t, c.want, x.Result.Verdict, name)
		assert.Contains(t, x.Result.Reason, c.why, name)
	}
}

func TestAFailureThatStandsIsNotCheckedAgain(t *testing.T) {
	x := &Check{Session: &harness.Session{Rig: &frail{mishaps: harness.Mishaps{Underruns: 1}}}, Result: record.Result{Verdict: verdict.Pass}}
	x.lookAtRig()
	assert.True(t, x.Spoilt())
	x.Failed("the station during the check", "no restart that nobody asked for", "one", 0)
	assert.Equal(t, verdict.Fail, x.Result.Verdict)
	assert.False(t, x.Spoilt(), "made again, it might pass")
}

func TestABusyHostIsNoExcuseForAHalfBit(t *testing.T) {
	r := catalogue.Requirement{Limits: []catalogue.Limit{{Quantity: "one half-bit", Max: "61us"}}}
	for _, half := range []time.Duration{58_000, 70_000} {
		rig := &described{frail{mishaps: harness.Mishaps{HeldUp: 1}}}
		x := &Check{Session: &harness.Session{Rig: rig, File: &station.File{}}, Requirement: r}
		var d signal.Distribution
		d.Count, d.Min, d.Max = 1, int64(half), int64(half)
		x.Spread("one half-bit", &d)
		found := x.Result.Verdict
		x.lookAtRig()
		assert.Equal(t, found, x.Result.Verdict, half)
		assert.False(t, x.Spoilt(), half)
		assert.Equal(t, half > 61_000, x.Result.Verdict == verdict.Fail)
	}
}

// described is a frail rig that says nothing of itself.
type described struct{ frail }

func (*described) Describe() harness.Description { return harness.Description{} }

func TestWhatSpoiltAnExerciseSpoilsAllThatLookAtIt(t *testing.T) {
	rig := &described{}
	s := harness.NewSession(&bare{rig}, &station.File{Dialect: new(station.Dialect)})
	exercise := func(x *Check) int {
		return Shared(x, "an exercise", func() int {
			rig.mishaps.Underruns++
			return 7
		})
	}
	check := func() *Check {
		x := &Check{Session: s, Result: record.Result{Verdict: verdict.Fail}}
		x.mishaps = x.mishapsNow()
		assert.Equal(t, 7, exercise(x))
		x.lookAtRig()
		return x
	}
	for range 3 {
		x := check()
		assert.True(t, x.Spoilt())
		assert.Equal(t, verdict.Inconclusive, x.Result.Verdict)
		assert.Equal(t, "the rig was at fault: the load followed the fake decoder too late", x.Result.Reason)
	}
	assert.Equal(t, 1, rig.mishaps.Underruns, "it was done once")
}

// bare is a rig without tracks.
type bare struct{ *described }

func (*bare) Link() link.Link                   { return nil }
func (*bare) Track(station.Track) harness.Track { return nil }
