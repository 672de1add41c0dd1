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

// A dialect may lack any operation but the one that asks who the station is: many stations have no command for it. Nothing is left in
// doubt for that, and nothing fails: another way is found, or what cannot be asked for is not claimed. The number is how many checks more
// are left out for it than of the whole station; whoever finds another way lowers it.
func TestAStationWithoutOneOperationIsLeftInNoDoubt(t *testing.T) {
	text, err := rigs.Files.ReadFile("words.dialect.toml")
	require.NoError(t, err)
	everything, err := station.ParseDialect("words", text)
	require.NoError(t, err)
	examined := func(t *testing.T, spoken *station.Dialect) (left int) {
		file := reference(t)
		file.Dialect = spoken
		run, err := suites.Run(t.Context(), rigWith(t, simulated.Options{Seed: 3, Dialect: everything}), file, suites.Options{})
		require.NoError(t, err)
		for _, r := range run.Results {
			if r.Verdict == verdict.NotClaimed {
				left++
				t.Log(r.ID, r.Reason)
			}
			assert.Contains(t, []verdict.Verdict{verdict.Pass, verdict.ConditionalPass, verdict.NotClaimed}, r.Verdict,
				"%s on %s: %s %v\n%+v", r.ID, r.Track, r.Reason, r.Failures, r.Notes)
		}
		assert.Contains(t, []verdict.Outcome{verdict.Conforms, verdict.ConformsWithObservations}, run.Outcome)
		return left
	}
	whole := examined(t, everything)
	without := map[station.Operation]int{
		station.ReadCurrent: 1, station.ReadPower: 0, station.Release: 1, station.Reset: 2, station.Stop: 1, station.StopAll: 1,
		station.ReadCV: 13, station.VerifyCV: 0, station.WriteCV: 7,
	}
	for _, o := range station.Operations() {
		more, spare := without[o]
		assert.Equal(t, spare, o != station.Identify && reference(t).Claims.PromisedBy(o) == "",
			"%s: what is claimed and cannot be asked for is a mistake of the station file", o)
		if spare {
			t.Run(string(o), func(t *testing.T) {
				assert.Equal(t, whole+more, examined(t, withoutOperations(t, string(o))))
			})
		}
	}
}
