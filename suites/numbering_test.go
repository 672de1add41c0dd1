package suites_test

import (
	"testing"

	"bufferstop/harness/dcc"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A station may count its accessories in either way, and has to say in which: S-9.2.2 (July 2012) contradicts itself.
func TestTheNumberingOfAccessoriesHasToBeTheClaimedOne(t *testing.T) {
	ids := []string{"ACC-001", "ACC-002", "ACC-003", "ACC-004", "ACC-005"}
	for _, claimed := range []dcc.Numbering{dcc.FirstIsRawFour, dcc.FirstIsRawZero} {
		for _, real := range []dcc.Numbering{dcc.FirstIsRawFour, dcc.FirstIsRawZero} {
			file := reference(t)
			file.Claims.Numbering = claimed
			run, err := suites.Run(t.Context(), rigWith(t, simulated.Options{Seed: 3, Numbering: real}), file,
				suites.Options{Selection: suites.Selection{Requirements: ids}})
			require.NoError(t, err)
			for _, r := range run.Results {
				want := verdict.Pass
				if claimed != real {
					want = verdict.Fail
				}
				assert.Equal(t, want, r.Verdict, "%s: claimed %v, real %v", r.ID, claimed, real)
			}
		}
	}
}
