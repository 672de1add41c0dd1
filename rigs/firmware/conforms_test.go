//go:build simavr

package firmware

import (
	"path/filepath"
	"testing"

	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// All three suites in one run, as a builder does it.
func TestTheReferenceFirmwareConforms(t *testing.T) {
	f, ids := referenceFile(t), everything()
	if testing.Short() {
		ids = quick // -short goes with -race, which is slow
	}
	r, err := open(t.Context(), f, loaded(t, reference(t)), Options{Seed: 1})
	require.NoError(t, err)
	defer r.Close()
	file, err := station.LoadFile(filepath.Join(f.Folder, f.Station))
	require.NoError(t, err)
	var unclaimed []string
	run, err := suites.Run(t.Context(), r, file, suites.Options{
		Selection: suites.Selection{Requirements: ids},
		OnResult: func(r record.Result) {
			if r.Verdict == verdict.NotClaimed {
				unclaimed = append(unclaimed, r.ID)
				return
			}
			assert.Equal(t, verdict.Pass, r.Verdict, "%s: %s %v", r.Name(), r.Reason, r.Failures)
		},
	})
	require.NoError(t, err)
	assert.Equal(t, verdict.Conforms, run.Outcome, run.Statement)
	if !testing.Short() {
		assert.ElementsMatch(t, []string{"OPS-013", "OPS-015", "OPS-016", "BID-001", "BID-002", "BID-003", "BID-006"}, unclaimed)
	}
	assert.Empty(t, r.StationFault())
	assert.Zero(t, r.StationResets())
}
