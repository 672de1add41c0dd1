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
	run, err := suites.Run(t.Context(), r, file, suites.Options{
		Selection: suites.Selection{Requirements: ids},
		OnResult: func(r record.Result) {
			assert.Equal(t, verdict.Pass, r.Verdict, "%s: %s %v", r.Name(), r.Reason, r.Failures)
		},
	})
	require.NoError(t, err)
	// It says itself that it lacks address-only mode, which is an observation.
	assert.Equal(t, verdict.ConformsWithObservations, run.Outcome, run.Statement)
	assert.Equal(t, []string{"it lacks address-only mode, which S-9.2.3 F (July 2012) makes mandatory"}, run.Station.Observations)
	assert.Empty(t, r.StationFault())
	assert.Zero(t, r.StationResets())
}
