package suites_test

import (
	"strings"
	"testing"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// asked is the results of some requirements, by id.
func asked(t *testing.T, rig harness.Rig, file *station.File, ids ...string) map[string]record.Result {
	t.Helper()
	run, err := suites.Run(t.Context(), rig, file, suites.Options{Selection: suites.Selection{Requirements: ids}})
	require.NoError(t, err)
	results := map[string]record.Result{}
	for _, r := range run.Results {
		results[r.ID] = r
	}
	return results
}

// RP-9.2.4 A asks for the sequence of those that do not know the state; whoever claims to know it has to show it.
func TestWhatAStationClaimsToKnowAfterPowerOffIsWhatItHasToShow(t *testing.T) {
	for name, c := range map[string]struct {
		claims, forgets bool
		want            verdict.Verdict
	}{
		"knows, and says so":        {true, false, verdict.Pass},
		"does not, and says so":     {false, true, verdict.Pass},
		"claims nothing, goes on":   {false, false, verdict.Fail},
		"begins anew, then goes on": {true, true, verdict.Pass},
	} {
		t.Run(name, func(t *testing.T) {
			file := reference(t)
			file.Claims.PowerOffKeepsState = c.claims
			r := asked(t, rigWith(t, simulated.Options{Seed: 2, Forgets: c.forgets}), file, "PWR-002")["PWR-002"]
			assert.Equal(t, c.want, r.Verdict, "%s %v", r.Reason, r.Failures)
		})
	}
}

// A station that can only be looked at and asked: what garbage has done to it cannot be undone, and is its failure all the same.
func TestAStationThatGarbageSilencesFailsAlsoWhereItCannotBeStartedAnew(t *testing.T) {
	results := asked(t, bareRig{rigWith(t, simulated.Options{Seed: 1, Defect: "nul-ends-all"})}, reference(t), "SIG-011", "SIG-012", "LNK-002", "SIG-016")
	r := results["LNK-002"]
	require.Equal(t, verdict.Fail, r.Verdict, r.Reason)
	assert.Contains(t, r.Failures[0].What, "every byte value")
	assert.Equal(t, verdict.Pass, results["SIG-011"].Verdict, "the track is none the worse for it")
	assert.Equal(t, verdict.Inconclusive, results["SIG-012"].Verdict)
	assert.Contains(t, results["SIG-012"].Reason, "has not come back after every byte value")
	assert.NotEqual(t, verdict.Pass, results["SIG-016"].Verdict)
}

func TestGarbageIsGarbageInEveryLanguage(t *testing.T) {
	for _, name := range []string{"words.station.toml", "frames.station.toml", "reference.station.toml"} {
		file, err := station.LoadFS(rigs.Files, name)
		require.NoError(t, err)
		rig := rigWith(t, simulated.Options{Seed: 3, Dialect: file.Dialect})
		for id, r := range asked(t, rig, file, "SIG-011", "SIG-012", "SIG-013", "SIG-014", "LNK-002") {
			assert.Equal(t, verdict.Pass, r.Verdict, "%s: %s: %s %v", name, id, r.Reason, r.Failures)
		}
	}
}

// The half of a command that is another command is no garbage in that language: nothing can be said of half a command, and nobody is to
// blame for what it does.
func TestHalfACommandThatIsAnotherOneIsNotHeldAgainstTheStation(t *testing.T) {
	text, err := rigs.Files.ReadFile("words.dialect.toml")
	require.NoError(t, err)
	terse := strings.NewReplacer("drive {kind} {address} {direction} {step} of {steps}", "{kind} {address},{step},{steps}{direction}",
		"halt {kind} {address}", "{kind} {address},", `forward = "ahead"`, `forward = "+"`, `reverse = "back"`, `reverse = "-"`,
		"[checksum]\nkind = \"crc-8/smbus\"\nbefore = \" ~\"\n", "").Replace(string(text))
	file := reference(t)
	file.Dialect, err = station.ParseDialect("terse", []byte(terse))
	require.NoError(t, err)
	results := asked(t, rigWith(t, simulated.Options{Seed: 3, Dialect: file.Dialect}), file, "SIG-011", "SIG-013", "LNK-002")
	assert.Equal(t, verdict.NotFitted, results["SIG-013"].Verdict, results["SIG-013"].Reason)
	assert.Contains(t, results["SIG-013"].Reason, "in this language it is a command")
	assert.Equal(t, verdict.Pass, results["SIG-011"].Verdict)
	assert.Equal(t, verdict.Pass, results["LNK-002"].Verdict, "%v", results["LNK-002"].Failures)
}

// What the checks leave behind is a station that is in step and whose tracks are off.
func TestAStationIsInStepAndOffAfterGarbage(t *testing.T) {
	rig := rigWith(t, simulated.Options{Seed: 4})
	file := reference(t)
	asked(t, rig, file, "LNK-002", "SIG-016", "SIG-017", "SIG-018")
	s := harness.NewSession(rig, file)
	for _, track := range file.Claims.Tracks {
		state, err := s.Station.Power(t.Context(), track)
		require.NoError(t, err)
		assert.Equal(t, station.Off, state)
	}
}
