package bench_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/bench"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"
	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// examine runs requirements, or all of them, on a rig.
func examine(t *testing.T, rig harness.Rig, requirements ...string) *record.Record {
	t.Helper()
	run, err := suites.Run(context.Background(), rig, reference(t), suites.Options{Selection: suites.Selection{Requirements: requirements}})
	require.NoError(t, err)
	for i := range run.Results {
		run.Results[i].WallTime = 0
	}
	return run
}

func onSimulatedRig(t *testing.T, o simulated.Options, requirements ...string) *record.Record {
	t.Helper()
	rig, err := simulated.New(o)
	require.NoError(t, err)
	defer func() { require.NoError(t, rig.Close()) }()
	return examine(t, rig, requirements...)
}

func TestInVirtualPaceTheWholeCatalogueGivesWhatTheSimulatedRigGives(t *testing.T) {
	for i, serve := range kinds {
		t.Run(serve, func(t *testing.T) {
			seed, requirements := int64(i), quickIfShort()
			if serve == "pty" {
				requirements = nil
			}
			rig := open(t, rigFile(t, serve, "virtual"), bench.Options{Seed: seed})
			run := examine(t, rig, requirements...)
			assert.Equal(t, verdict.Conforms, run.Outcome)
			assert.Equal(t, "bench", run.Rig.Kind)
			assert.Equal(t, seed, run.Rig.Seed)
			want := onSimulatedRig(t, simulated.Options{Seed: seed}, requirements...)
			assert.Equal(t, want.Results, run.Results, "to the nanosecond")
			assert.Equal(t, want.RigTime, run.RigTime)
		})
	}
}

// The languages differ in how long they take on the line, so times differ; verdicts do not.
func TestInVirtualPaceAStationOfAnotherDialectConformsToo(t *testing.T) {
	for _, dialect := range []string{"words", "frames"} {
		t.Run(dialect, func(t *testing.T) {
			file, err := station.LoadFS(rigs.Files, dialect+".station.toml")
			require.NoError(t, err)
			rig, err := bench.Open(context.Background(), rigFile(t, "tcp", "virtual"), file, bench.Options{Seed: 1})
			require.NoError(t, err)
			defer func() { require.NoError(t, rig.Close()) }()
			run, err := suites.Run(context.Background(), rig, file,
				suites.Options{Selection: suites.Selection{Requirements: quickIfShort()}})
			require.NoError(t, err)
			for _, r := range run.Results {
				assert.Contains(t, []verdict.Verdict{verdict.Pass, verdict.NotClaimed}, r.Verdict, "%s: %s %v", r.Name(), r.Reason, r.Failures)
			}
			assert.Equal(t, verdict.Conforms, run.Outcome)
		})
	}
}

func TestInVirtualPaceADefectFailsWhatItBreaks(t *testing.T) {
	// One of the line itself, and one that takes a station a while to show.
	for _, name := range []string{"serial-interrupt", "late-retry"} {
		t.Run(name, func(t *testing.T) {
			defect, err := simulated.Find(name)
			require.NoError(t, err)
			requirements := quickIfShort()
			if requirements != nil {
				requirements = append(requirements, defect.Breaks...)
			}
			run := examine(t, open(t, rigFile(t, "pty", "virtual"), bench.Options{Seed: 1, Defect: name}), requirements...)
			var broken []string
			for _, r := range run.Results {
				if r.Verdict.Outside() {
					broken = append(broken, r.ID)
				}
			}
			assert.Subset(t, broken, defect.Breaks)
			assert.Subset(t, catalogue.Implied(defect.Breaks...), broken)
			assert.Equal(t, verdict.DoesNotConform, run.Outcome)
		})
	}
}

// quick are requirements that need little of the station's time, one of each kind: a command to a locomotive, a short, and
// service mode.
var quick = []string{"OPS-004", "OVL-001", "SRV-009"}

// quickIfShort is quick with -short, which goes with -race: that makes a run ten times slower. Otherwise it is all.
func quickIfShort() []string {
	if testing.Short() {
		return slices.Clone(quick)
	}
	return nil
}

func TestInRealTimeAShortSelectionPasses(t *testing.T) {
	for _, serve := range kinds {
		t.Run(serve, func(t *testing.T) {
			rig := open(t, rigFile(t, serve, "real"), bench.Options{Seed: 1})
			began := time.Now()
			run := examine(t, rig, quick...)
			for _, r := range run.Results {
				assert.Equal(t, verdict.Pass, r.Verdict, "%s: %s %v", r.Name(), r.Reason, r.Failures)
			}
			assert.GreaterOrEqual(t, time.Since(began), run.RigTime, "the rig's clock is never ahead of the wall's")
			assert.Positive(t, run.RigTime)
		})
	}
}
