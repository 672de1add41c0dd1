package suites

import (
	"testing"

	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEveryRequirementHasCodeAndAllCodeARequirement(t *testing.T) {
	code := specs(nil)
	for _, r := range catalogue.All() {
		assert.Contains(t, code, r.ID, "no code checks it")
		delete(code, r.ID)
	}
	assert.Empty(t, code, "code for requirements that the catalogue does not have")
}

func TestASelectionTakesSuitesAndRequirementsTogether(t *testing.T) {
	all, err := Selection{}.Chosen()
	require.NoError(t, err)
	assert.Len(t, all, len(catalogue.All()))

	one, err := Selection{Requirements: []string{"REC-001", "SIG-001"}}.Chosen()
	require.NoError(t, err)
	require.Len(t, one, 2)
	assert.Equal(t, "SIG-001", one[0].ID, "the order is that of the catalogue")

	suite, err := Selection{Suites: []string{"programming"}}.Chosen()
	require.NoError(t, err)
	for _, r := range suite {
		assert.Equal(t, "programming", r.Suite)
	}
}

func TestASelectionOfNothingIsAnErrorAndSaysWhatThereIs(t *testing.T) {
	for _, s := range []Selection{
		{Suites: []string{"speed"}},
		{Requirements: []string{"SIG-999"}},
		{Suites: []string{"programming"}, Requirements: []string{"SIG-001"}},
	} {
		_, err := s.Chosen()
		var selection *SelectionError
		require.ErrorAs(t, err, &selection)
		if selection.Got != "" {
			assert.NotEmpty(t, selection.Want)
			assert.Contains(t, err.Error(), selection.Got)
		}
	}
}
