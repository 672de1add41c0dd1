package suites_test

import (
	"context"
	"fmt"
	"testing"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// clumsy is a rig whose load is late, as often as it says, while it is asked how it fares.
type clumsy struct {
	*simulated.Rig
	late, asked int
}

func (c *clumsy) Fault() error      { return nil }
func (c *clumsy) Remarks() []string { return []string{"the rig is clumsy"} }

// Mishaps is asked at the beginning of each check, and at its end, and around an exercise that several look at.
func (c *clumsy) Mishaps() harness.Mishaps {
	c.asked++
	return harness.Mishaps{Underruns: min(c.asked/2, c.late)}
}

func TestAResultThatTheRigHasSpoiltIsCheckedAgain(t *testing.T) {
	for late, want := range map[int][2]verdict.Verdict{
		1:   {verdict.Pass, verdict.Pass},
		100: {verdict.Inconclusive, verdict.Inconclusive},
	} {
		rig, err := simulated.New(simulated.Options{Seed: 1})
		require.NoError(t, err)
		var told []record.Result
		again := 0
		run, err := suites.Run(context.Background(), &clumsy{Rig: rig, late: late}, reference(t), suites.Options{
			Selection: suites.Selection{Requirements: []string{"SIG-001"}},
			OnResult:  func(r record.Result) { told = append(told, r) },
			OnAgain:   func() { again++ },
		})
		require.NoError(t, err)
		require.Len(t, run.Results, 2)
		assert.Len(t, told, 2, "each result is told once")
		for i, r := range run.Results {
			assert.Equal(t, want[i], r.Verdict, r.Name())
		}
		assert.Equal(t, "main", run.Results[0].Track, "the order stands")
		assert.Contains(t, run.Notes, "the rig is clumsy")
		if late == 1 {
			assert.Equal(t, 1, again)
			require.NotEmpty(t, run.Results[0].Notes)
			assert.Contains(t, run.Results[0].Notes[len(run.Results[0].Notes)-1], "checked again, since before this the rig was at fault")
			assert.Empty(t, run.Results[1].Notes)
		} else {
			assert.Equal(t, 2, again)
			assert.Equal(t, verdict.Incomplete, run.Outcome)
		}
		require.NoError(t, rig.Close())
	}
}

// failing is a clumsy rig that fails for good after a while.
type failing struct {
	clumsy
	after int
}

func (f *failing) Fault() error {
	if f.asked >= f.after {
		return fmt.Errorf("%w: the probe is gone", harness.ErrRig)
	}
	return nil
}

// The first check is spoilt, the rig fails in the second, and the rest is left out: that, and why, is what the record says.
func TestNothingIsCheckedAgainOnARigThatHasFailed(t *testing.T) {
	rig, err := simulated.New(simulated.Options{Seed: 1})
	require.NoError(t, err)
	var told []string
	run, err := suites.Run(context.Background(), &failing{clumsy{Rig: rig, late: 1}, 5}, reference(t), suites.Options{
		Selection: suites.Selection{Requirements: []string{"SIG-001", "SIG-003"}},
		OnResult:  func(r record.Result) { told = append(told, r.Name()) },
		OnAgain:   func() { assert.Fail(t, "nothing is to be checked again") },
	})
	require.NoError(t, err)
	require.Contains(t, run.EndedEarly, "the probe is gone")
	var got []verdict.Verdict
	for _, r := range run.Results {
		got = append(got, r.Verdict)
	}
	assert.Equal(t, []verdict.Verdict{verdict.Inconclusive, verdict.Error, verdict.Excluded, verdict.Excluded}, got)
	assert.ElementsMatch(t, []string{"SIG-001 main", "SIG-001 programming", "SIG-003 main", "SIG-003 programming"}, told, "each result is told once")
	require.NoError(t, rig.Close())
}

func TestARunThatIsStoppedKeepsWhatTheFirstRoundFound(t *testing.T) {
	rig, err := simulated.New(simulated.Options{Seed: 1})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	run, err := suites.Run(ctx, &clumsy{Rig: rig, late: 100}, reference(t), suites.Options{
		Selection: suites.Selection{Requirements: []string{"SIG-001"}},
		OnAgain:   stop,
	})
	require.NoError(t, err)
	assert.Equal(t, verdict.Interrupted, run.Outcome)
	require.Len(t, run.Results, 2)
	for _, r := range run.Results {
		assert.Equal(t, verdict.Inconclusive, r.Verdict, r.Name())
		assert.NotEmpty(t, r.Measurements, r.Name())
		for _, note := range r.Notes {
			assert.NotContains(t, note, "checked again", "it was not")
		}
	}
	require.NoError(t, rig.Close())
}
