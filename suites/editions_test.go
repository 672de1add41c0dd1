package suites_test

import (
	"context"
	"testing"

	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// S-9.1 (2006) has no figure for the halves of a one. A station that keeps to it is not held to the one of 2020 where bits are looked at
// again, busy or loaded.
func TestAnOlderEditionHoldsUnderLoadToo(t *testing.T) {
	file := reference(t)
	options := suites.Options{Selection: suites.Selection{Requirements: []string{"SIG-005", "SIG-019"}}}
	for edition, want := range map[string]verdict.Verdict{"S-9.1 (2020)": verdict.Fail, "S-9.1 (2006)": verdict.Pass} {
		file.Claims.Editions = map[string]string{"halves of a one": edition}
		run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Defect: "late-timer-reload"}), file, options)
		require.NoError(t, err)
		require.Len(t, run.Results, 2)
		for _, r := range run.Results {
			assert.Equal(t, want, r.Verdict, "%s by %s", r.ID, edition)
			assert.Equal(t, []string{"halves of a one: " + edition}, r.Editions)
		}
	}
}

// A zero whose halves are legal and which is too long as a whole is one under load too: E7.
func TestAWholeZeroIsLookedAtWhileTheStationIsBusy(t *testing.T) {
	run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Defect: "overstretched-zero", Seed: 1}), reference(t),
		suites.Options{Selection: suites.Selection{Requirements: []string{"SIG-005"}}})
	require.NoError(t, err)
	require.Len(t, run.Results, 1)
	require.Equal(t, verdict.Fail, run.Results[0].Verdict)
	assert.Equal(t, "whole zero", run.Results[0].Failures[0].What)
}

// What the edition of 2004 has for the voltage is known from memory. A station that keeps to it is judged by it, and what it does not
// keep is an observation.
func TestWhatAnEditionSaysFromMemoryIsAnObservation(t *testing.T) {
	file := reference(t)
	options := suites.Options{Selection: suites.Selection{Requirements: []string{"SIG-009"}}}
	for _, c := range []struct {
		edition, defect string
		want            verdict.Outcome
	}{
		{"S-9.1 (2020)", "weak-supply", verdict.DoesNotConform}, // 8.2 V, where the newest asks for 8.5 V and the other for 7 V
		{"S-9.1 (2004)", "weak-supply", verdict.Conforms},
		{"S-9.1 (2020)", "strong-supply", verdict.DoesNotConform}, // 22.8 V, where both have 22 V
		{"S-9.1 (2004)", "strong-supply", verdict.ConformsWithObservations},
	} {
		file.Claims.Editions = map[string]string{"amplitude": c.edition}
		run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Defect: c.defect, Seed: 1}), file, options)
		require.NoError(t, err)
		assert.Equal(t, c.want, run.Outcome, "%s by %s", c.defect, c.edition)
		for _, r := range run.Results {
			assert.Equal(t, c.edition == "S-9.1 (2004)", r.Level == verdict.Should)
		}
	}
}
