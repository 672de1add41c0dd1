package suites_test

import (
	"slices"
	"testing"
	"time"

	"bufferstop/rigs/simulated"
	"bufferstop/suites"
	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
)

// Each requirement is checked alone, so that whoever looks at an exercise that the catalogue does not name is found too.
func TestRequirementsTakeAboutAsLongAsTheCatalogueSays(t *testing.T) {
	for _, r := range catalogue.All() {
		run := examinePart(t, simulated.Options{Seed: 1, Habit: habitFor(r)}, suites.Selection{Requirements: []string{r.ID}}, "")
		var took time.Duration
		for _, result := range run.Results {
			took += result.End - result.Start
		}
		said := r.Time()
		for _, name := range r.Exercises {
			e, _ := catalogue.FindExercise(name)
			said += e.Time()
		}
		// Close enough to divide a run of minutes by.
		assert.InDelta(t, said.Seconds(), took.Seconds(), max(2.2, 0.2*said.Seconds()), r.ID)
	}
}

// habitFor is a habit of stations to which a requirement applies.
func habitFor(r catalogue.Requirement) string {
	if slices.Contains(r.Claims, "cutout") {
		return "cutout"
	}
	return ""
}
