//go:build simavr

package firmware

import (
	"encoding/json"
	"path/filepath"
	"testing"

	"bufferstop/harness/station"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The same seed gives the same results to the last digit, and other seeds give others: the noise of the probe is drawn. Most values
// are at the end of what was drawn for many, so two seeds may come to the same by chance; three do not.
func TestTheSameSeedGivesTheSameRecord(t *testing.T) {
	f := referenceFile(t)
	file, err := station.LoadFile(filepath.Join(f.Folder, f.Station))
	require.NoError(t, err)
	results := func(seed int64) string {
		r, err := open(t.Context(), f, loaded(t, reference(t)), Options{Seed: seed})
		require.NoError(t, err)
		defer r.Close()
		run, err := suites.Run(t.Context(), r, file, suites.Options{
			Selection: suites.Selection{Requirements: []string{"SIG-001", "OPS-005", "ACK-002", "OVL-001"}}})
		require.NoError(t, err)
		require.Greater(t, len(run.Results), 4) // one for each track
		for i := range run.Results {
			run.Results[i].WallTime = 0
		}
		text, err := json.Marshal(run.Results)
		require.NoError(t, err)
		return string(text)
	}
	first := results(1)
	assert.JSONEq(t, first, results(1))
	assert.False(t, results(2) == first && results(3) == first && results(4) == first)
}
