package suites_test

import (
	"testing"

	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// How a station is talked to must not show in the verdicts: the same station, asked in three languages, gives the same ones,
// healthy and with a defect.
func TestTheExampleDialectsBringTheSameVerdicts(t *testing.T) {
	for _, defect := range []string{"", "slow-crystal"} {
		if testing.Short() && defect != "" {
			continue // -short goes with -race, which makes a run ten times slower
		}
		var first map[string]verdict.Verdict
		for _, name := range []string{"reference", "words", "frames"} {
			file, err := station.LoadFS(rigs.Files, name+".station.toml")
			require.NoError(t, err)
			rig := rigWith(t, simulated.Options{Seed: 1, Defect: defect, Dialect: file.Dialect})
			run, err := suites.Run(t.Context(), rig, file, suites.Options{})
			require.NoError(t, err, name)
			verdicts := map[string]verdict.Verdict{}
			for _, r := range run.Results {
				verdicts[r.Name()] = r.Verdict
			}
			if first == nil {
				first = verdicts
				assert.Equal(t, defect == "", run.Outcome == verdict.Conforms)
			}
			assert.Equal(t, first, verdicts, "%s, defect %q", name, defect)
			assert.Greater(t, len(verdicts), 60)
		}
	}
}
