package suites_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

func reference(t *testing.T) *station.File {
	t.Helper()
	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	return file
}

func rigWith(t *testing.T, o simulated.Options) *simulated.Rig {
	t.Helper()
	rig, err := simulated.New(o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, rig.Close()) })
	return rig
}

func TestWhatIsNotClaimedIsNotAsked(t *testing.T) {
	file := reference(t)
	file.Claims.Aspects = station.Range{}
	file.Claims.SpeedSteps = file.Claims.SpeedSteps[:1]
	run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{}), file,
		suites.Options{Selection: suites.Selection{Requirements: []string{"OPS-001", "OPS-002", "ACC-002"}}})
	require.NoError(t, err)
	require.Len(t, run.Results, 3)
	assert.Equal(t, verdict.Pass, run.Results[0].Verdict)
	assert.Equal(t, verdict.NotClaimed, run.Results[1].Verdict)
	assert.Contains(t, run.Results[1].Reason, "128 speed steps")
	assert.Equal(t, verdict.NotClaimed, run.Results[2].Verdict)
	assert.Equal(t, verdict.Conforms, run.Outcome)
}

// bareRig is a rig with a probe that sees edges and nothing else.
type bareRig struct{ *simulated.Rig }

func (r bareRig) Describe() harness.Description {
	d := r.Rig.Describe()
	for track := range d.Tracks {
		d.Tracks[track] = []harness.Ability{harness.SeeEdges}
	}
	return d
}

func TestWhatTheRigCannotDoIsNotFittedAndNeverAPass(t *testing.T) {
	run, err := suites.Run(context.Background(), bareRig{rigWith(t, simulated.Options{})}, reference(t),
		suites.Options{Selection: suites.Selection{Suites: []string{"shortcircuit"}}})
	require.NoError(t, err)
	for _, r := range run.Results {
		assert.Equal(t, verdict.NotFitted, r.Verdict, r.Name())
		assert.Contains(t, r.Reason, "the rig lacks")
	}
	assert.Equal(t, verdict.Incomplete, run.Outcome)
}

func TestAFailureLeavesARecordingThatReadsBack(t *testing.T) {
	dir := t.TempDir()
	run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Defect: "short-zero"}), reference(t),
		suites.Options{Selection: suites.Selection{Requirements: []string{"SIG-003"}}, Evidence: dir})
	require.NoError(t, err)
	for _, r := range run.Results {
		require.Equal(t, verdict.Fail, r.Verdict)
		require.NotEmpty(t, r.Failures)
		path := filepath.Join(dir, filepath.FromSlash(r.Failures[0].Evidence))
		capture, err := signal.OpenCapture(path, nil)
		require.NoError(t, err)
		edges := make([]signal.Edge, 100000)
		n, err := capture.Read(edges)
		require.NoError(t, err)
		require.NoError(t, capture.Close())
		assert.Greater(t, n, 100)
		receiver := signal.NewReceiver(signal.StationReading(), nowhere{})
		receiver.Edges(edges[:n])
		assert.Less(t, receiver.Statistics().ZeroHalf.Min, int64(95*time.Microsecond), "the recording shows the failure")
	}
}

// nowhere is a sink for a receiver whose statistics alone are wanted.
type nowhere struct{}

func (nowhere) Packet(*signal.Packet)    {}
func (nowhere) Unusable(signal.Unusable) {}

func TestAStoppedRunLeavesOutTheRestAndIsSafe(t *testing.T) {
	rig := rigWith(t, simulated.Options{})
	ctx, stop := context.WithCancel(context.Background())
	results := 0
	run, err := suites.Run(ctx, rig, reference(t), suites.Options{OnResult: func(record.Result) {
		if results++; results == 10 {
			stop()
		}
	}})
	require.NoError(t, err)
	assert.Equal(t, verdict.Interrupted, run.Outcome)
	assert.Equal(t, verdict.ExitInterrupted, run.ExitCode)
	made := 0
	for _, r := range run.Results {
		if r.Verdict != verdict.Excluded {
			made++
		}
	}
	assert.Equal(t, 10, made, "the rest is left out")
	assert.Greater(t, len(run.Results), 10)
	assertDark(t, rig)
}

func TestACheckThatIsStoppedHalfWayIsNobodysFault(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	rig := &stoppingRig{Rig: rigWith(t, simulated.Options{}), stop: stop}
	run, err := suites.Run(ctx, rig, reference(t), suites.Options{Selection: suites.Selection{Suites: []string{"shortcircuit"}}})
	require.NoError(t, err)
	assert.Equal(t, verdict.Interrupted, run.Outcome)
	assert.Equal(t, verdict.Excluded, run.Results[0].Verdict, run.Results[0].Reason)
	assertDark(t, rig.Rig)
}

// stoppingRig is a rig whose user stops the run while a short lies.
type stoppingRig struct {
	harness.Rig
	stop func()
}

func (r *stoppingRig) Track(name station.Track) harness.Track {
	return stoppingTrack{r.Rig.Track(name), r.stop}
}

type stoppingTrack struct {
	harness.Track
	stop func()
}

func (t stoppingTrack) Short(r physic.ElectricResistance) error {
	t.stop()
	return t.Track.Short(r)
}

// assertDark expects both tracks to be without voltage.
func assertDark(t *testing.T, rig harness.Rig) {
	t.Helper()
	for _, track := range []station.Track{station.Main, station.Programming} {
		var tape harness.Tape
		stop := rig.Track(track).Listen(&tape)
		require.NoError(t, rig.Wait(context.Background(), 100*time.Millisecond))
		stop()
		edges := tape.Between(rig.Now(), rig.Now())
		require.NotEmpty(t, edges)
		assert.Equal(t, signal.Off, edges[0].Level, "the %s track", track)
	}
}

// panickyRig panics when a load is laid, as a driver with a fault in it might.
type panickyRig struct{ harness.Rig }

func (r panickyRig) Track(name station.Track) harness.Track {
	return panickyTrack{r.Rig.Track(name)}
}

type panickyTrack struct{ harness.Track }

func (panickyTrack) Short(physic.ElectricResistance) error { panic("the relay board is gone") }

func TestAPanicOfTheHarnessIsAnErrorOfOursAndTheRigIsSafe(t *testing.T) {
	rig := rigWith(t, simulated.Options{})
	run, err := suites.Run(context.Background(), panickyRig{rig}, reference(t),
		suites.Options{Selection: suites.Selection{Requirements: []string{"OVL-001", "OVL-002"}}})
	require.NoError(t, err)
	require.Len(t, run.Results, 2)
	assert.Equal(t, verdict.Error, run.Results[0].Verdict)
	assert.Contains(t, run.Results[0].Reason, "the relay board is gone")
	assert.Equal(t, verdict.Pass, run.Results[1].Verdict, "the run goes on")
	assert.Equal(t, verdict.ExitFault, run.ExitCode)
	assertDark(t, rig)
}

// A locomotive at 112 to 127 that is still in refresh looks like service mode (S-9.2.3 E). It is no leak.
func TestALocomotiveThatWasDrivenBeforeIsNotTakenForServiceMode(t *testing.T) {
	run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{}), reference(t),
		suites.Options{Selection: suites.Selection{Requirements: []string{"OPS-003", "SRV-010"}}})
	require.NoError(t, err)
	for _, r := range run.Results {
		assert.Equal(t, verdict.Pass, r.Verdict, "%s: %v", r.Name(), r.Failures)
	}
}
