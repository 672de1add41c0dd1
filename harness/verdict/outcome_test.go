package verdict

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestWhatOneRequirementMakesOfARun(t *testing.T) {
	for _, c := range []struct {
		verdict      Verdict
		must, should Outcome
	}{
		{Pass, Conforms, Conforms},
		{NotClaimed, Conforms, Conforms},
		{Excluded, Conforms, Conforms},
		{ConditionalPass, ConformsWithObservations, ConformsWithObservations},
		{ConditionalFail, DoesNotConform, ConformsWithObservations},
		{Fail, DoesNotConform, ConformsWithObservations},
		{Inconclusive, Incomplete, ConformsWithObservations},
		{NotFitted, Incomplete, ConformsWithObservations},
		{Error, Faulted, Faulted},
		{Unmeasured, Faulted, Faulted},
		{Verdict(77), Faulted, Faulted},
	} {
		assert.Equal(t, c.must, Of(Must, c.verdict), "MUST %s", c.verdict)
		assert.Equal(t, c.should, Of(Should, c.verdict), "SHOULD %s", c.verdict)
		assert.Equal(t, c.must, Of("", c.verdict), "no level is as strict as MUST: %s", c.verdict)
	}
}

func TestExitCodesTellTheOutcome(t *testing.T) {
	for outcome, code := range map[Outcome]int{Conforms: 0, ConformsWithObservations: 0, DoesNotConform: 1, Faulted: 3,
		Incomplete: 4, Interrupted: 130, "": 3} {
		assert.Equal(t, code, outcome.ExitCode(), outcome)
	}
}

func TestTheGraverOutcomeOverrides(t *testing.T) {
	for i, a := range outcomes {
		for j, b := range outcomes {
			assert.Equal(t, outcomes[max(i, j)], Override(a, b))
		}
	}
}

func TestLevelsAndOutcomesAreReadStrictly(t *testing.T) {
	var l Level
	assert.NoError(t, l.UnmarshalText([]byte("SHOULD")))
	assert.Equal(t, Should, l)
	assert.ErrorContains(t, l.UnmarshalText([]byte("must")), "want MUST or SHOULD")
	var o Outcome
	assert.NoError(t, o.UnmarshalText([]byte("does not conform")))
	assert.Equal(t, DoesNotConform, o)
	assert.ErrorContains(t, o.UnmarshalText([]byte("green")), "conforms")
}
