package suites_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func resultOf(t *testing.T, run *record.Record, name string) record.Result {
	t.Helper()
	for _, r := range run.Results {
		if r.Name() == name {
			return r
		}
	}
	require.Fail(t, "no result", name)
	return record.Result{}
}

// A selection that makes the tracks carry nothing has ordinary traffic made for what is judged by what they carry.
func TestWhatIsJudgedThroughoutARunIsJudgedAlone(t *testing.T) {
	run := examinePart(t, simulated.Options{Seed: 3}, suites.Selection{Requirements: []string{"PKT-005", "SIG-006"}}, "")
	require.Equal(t, verdict.Conforms, run.Outcome, run.Statement)
	assert.Equal(t, []string{"SIG-006 main", "SIG-006 programming", "PKT-005 main", "PKT-005 programming"}, namesOf(run))
	assert.Empty(t, run.Histograms, "they belong to those who ask for the traffic")
}

func namesOf(run *record.Record) (names []string) {
	for _, r := range run.Results {
		names = append(names, r.Name())
	}
	return names
}

// Judged last, told in the order of the catalogue, with the signal around failures from long before.
func TestWhatIsJudgedThroughoutARunHasItsEvidence(t *testing.T) {
	dir := t.TempDir()
	run := examinePart(t, simulated.Options{Seed: 1, Defect: "reserved-first-byte"},
		suites.Selection{Requirements: []string{"SIG-001", "PKT-005", "OPS-001"}}, dir)
	r := resultOf(t, run, "PKT-005 main")
	require.Equal(t, verdict.Fail, r.Verdict)
	require.Len(t, r.Failures, 6)
	for _, f := range r.Failures {
		require.NotEmpty(t, f.Evidence, "%v %v", f, r.Notes)
		assert.FileExists(t, filepath.Join(dir, f.Evidence))
	}
	assert.Equal(t, []string{"SIG-001 main", "SIG-001 programming", "PKT-005 main", "PKT-005 programming", "OPS-001 main"}, namesOf(run))
}

func TestEveryPartOfARunJudgesWhatItHeardItself(t *testing.T) {
	selection := suites.Selection{Requirements: []string{"SIG-001", "PKT-005", "PWR-001"}}
	directories := inParts(t, simulated.Options{Seed: 1, Defect: "reserved-first-byte"}, selection, 2)
	parts := read(t, directories...)
	for _, p := range parts {
		require.Equal(t, verdict.Fail, resultOf(t, p.Record, "PKT-005 main").Verdict)
	}
	merged, err := suites.Merge(parts, toolVersion)
	require.NoError(t, err)
	require.NoError(t, merged.Check())
	out := t.TempDir()
	require.NoError(t, merged.Keep(out))
	r := resultOf(t, merged.Record, "PKT-005 main")
	assert.Equal(t, verdict.Fail, r.Verdict)
	require.Len(t, r.Failures, 12)
	assert.True(t, strings.HasPrefix(r.Failures[0].What, "part 1 of 2: "))
	assert.True(t, strings.HasPrefix(r.Failures[11].What, "part 2 of 2: "))
	wrong := 0.0
	for _, p := range parts {
		wrong += resultOf(t, p.Record, "PKT-005 main").Measurements[0].Value
	}
	assert.InDelta(t, wrong, r.Measurements[0].Value, 0, "as many as in all parts together")
	assert.InDelta(t, -wrong, *r.Measurements[0].Margin, 0)
	for _, f := range r.Failures {
		require.NotEmpty(t, f.Evidence)
		_, err := os.Stat(filepath.Join(out, f.Evidence))
		assert.NoError(t, err)
	}
	assert.NotEqual(t, r.Failures[0].Evidence, r.Failures[11].Evidence)
}
