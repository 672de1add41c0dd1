package suites_test

import (
	"context"
	"slices"
	"testing"

	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/matrix"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// examine runs every requirement against the simulated reference station.
func examine(t *testing.T, o simulated.Options) *record.Record {
	t.Helper()
	file := fileFor(t, o)
	rig, err := simulated.New(o)
	require.NoError(t, err)
	defer func() { require.NoError(t, rig.Close()) }()
	run, err := suites.Run(context.Background(), rig, file, suites.Options{})
	require.NoError(t, err)
	return run
}

// fileFor is the station file that goes with the options.
func fileFor(t testing.TB, o simulated.Options) *station.File {
	t.Helper()
	file, err := station.LoadFS(rigs.Files, o.StationFile())
	require.NoError(t, err)
	return file
}

// broken returns the ids of the requirements that a run found not to be met, sorted, and the names of the results that
// came to neither pass nor failure.
func broken(run *record.Record) (ids, open []string) {
	for _, r := range run.Results {
		switch {
		case r.Verdict.Outside():
			ids = append(ids, r.ID)
		case !r.Verdict.Inside():
			open = append(open, r.Name()+": "+r.Verdict.String()+": "+r.Reason)
		}
	}
	slices.Sort(ids)
	return slices.Compact(ids), open
}

// TestEachDefectIsCaughtByItsRequirementsAndNoOthers runs the whole matrix, defect by requirement. What a defect breaks
// has to fail, and nothing else may but what the catalogue says is implied. A defect may leave others inconclusive, as a
// short that is never cut leaves the recovery from it. One that breaks nothing but what a station SHOULD keep is an observation.
func TestEachDefectIsCaughtByItsRequirementsAndNoOthers(t *testing.T) {
	for i, d := range simulated.Defects() {
		if testing.Short() && i%24 != 0 {
			continue // -short goes with -race, which makes a run ten times slower; it looks for races, not for misses
		}
		t.Run(d.Name, func(t *testing.T) {
			run := examine(t, simulated.Options{Seed: 1, Defect: d.Name})
			_, open := broken(run)
			row := matrix.Judge(matrix.Defect{Name: d.Name, Breaks: d.Breaks}, run)
			assert.Empty(t, row.Missed, "inconclusive: %q", open)
			assert.Empty(t, row.Strange, "inconclusive: %q", open)
			assert.Empty(t, row.Fault)
		})
	}
}

func TestEveryRequirementHasADefectThatBreaksIt(t *testing.T) {
	proven := map[string]bool{}
	for _, d := range simulated.Defects() {
		for _, id := range d.Breaks {
			proven[id] = true
			_, known := catalogue.Find(id)
			assert.True(t, known, "%s breaks %s, which is not in the catalogue", d.Name, id)
		}
	}
	for _, r := range catalogue.All() {
		assert.True(t, proven[r.ID], "no seeded defect breaks %s", r.ID)
	}
}

// notClaimed are the requirements that do not apply to the reference station, as it does not claim what they are about.
var notClaimed = []string{
	"BID-001", "BID-002", "BID-003", "BID-006", // it has no cutouts: the habit "cutout" has
}

func TestTheReferenceStationClaimsWhatItCan(t *testing.T) {
	var ids []string
	for _, r := range examine(t, simulated.Options{Seed: 1}).Results {
		if r.Verdict == verdict.NotClaimed {
			ids = append(ids, r.ID)
		}
	}
	assert.ElementsMatch(t, notClaimed, ids)
}

// What the reference station does not claim, a station with a habit does, so that everything is checked on a healthy station.
func TestEveryRequirementIsClaimedByAStationWithSomeHabit(t *testing.T) {
	checked := map[string]bool{}
	for _, h := range append(simulated.Habits(), simulated.Habit{}) {
		for _, r := range examine(t, simulated.Options{Seed: 1, Habit: h.Name}).Results {
			checked[r.ID] = checked[r.ID] || r.Verdict != verdict.NotClaimed
		}
	}
	for _, r := range catalogue.All() {
		assert.True(t, checked[r.ID], r.ID)
	}
}

// The seed varies the legal freedoms of the station: bit times within their limits, the order of packets, repeats,
// preambles longer than they must be.
func TestAHealthyStationConformsForFiftySeeds(t *testing.T) { conforms(t, 50, "") }

func TestAHealthyStationWithAHabitConforms(t *testing.T) {
	for _, h := range simulated.Habits() {
		seeds := int64(12)
		if h.Name == "unusual" {
			seeds = 24 // it varies all that may vary, as far as it may
		}
		t.Run(h.Name, func(t *testing.T) { conforms(t, seeds, h.Name) })
	}
}

// conforms examines healthy stations with a habit.
func conforms(t *testing.T, seeds int64, habit string) {
	if testing.Short() {
		seeds = 2 // see above
	}
	for seed := range seeds {
		run := examine(t, simulated.Options{Seed: seed, Habit: habit})
		for _, r := range run.Results {
			if r.Verdict == verdict.NotClaimed {
				continue // TestTheReferenceStationClaimsWhatItCan names them
			}
			require.Equal(t, verdict.Pass, r.Verdict, "seed %d: %s: %s %v", seed, r.Name(), r.Reason, r.Failures)
			require.NotEmpty(t, r.Measurements, r.Name())
		}
		require.Equal(t, verdict.Conforms, run.Outcome)
	}
}

func TestARunIsRepeatedToTheNanosecondByItsSeed(t *testing.T) {
	one, two := examine(t, simulated.Options{Seed: 7}), examine(t, simulated.Options{Seed: 7})
	require.Equal(t, len(one.Results), len(two.Results))
	for i := range one.Results {
		one.Results[i].WallTime, two.Results[i].WallTime = 0, 0
	}
	assert.Equal(t, one.Results, two.Results)
	assert.Equal(t, one.Histograms, two.Histograms)
	assert.Equal(t, one.Waveforms, two.Waveforms)
	assert.NotEqual(t, one.RigTime, examine(t, simulated.Options{Seed: 8}).RigTime)
}
