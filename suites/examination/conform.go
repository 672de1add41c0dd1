package examination

import (
	"fmt"
	"strings"

	"bufferstop/harness/verdict"

	"github.com/onsi/gomega/types"
)

// Conform succeeds for a *Check whose verdict is pass or conditional pass. Its message holds what was expected and what
// happened, one line for each failure.
func Conform() types.GomegaMatcher { return conform{} }

type conform struct{}

func (conform) Match(actual any) (bool, error) {
	x, ok := actual.(*Check)
	if !ok {
		return false, fmt.Errorf("Conform judges a *examination.Check, not a %T", actual)
	}
	return x.Result.Verdict.Inside(), nil
}

func (conform) FailureMessage(actual any) string {
	r := actual.(*Check).Result
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s", r.Name(), r.Verdict.Settle())
	if r.Reason != "" {
		fmt.Fprintf(&b, ": %s", r.Reason)
	}
	for _, f := range r.Failures {
		fmt.Fprintf(&b, "\n%s: expected %s, got %s, at %v", f.What, f.Expected, f.Actual, f.At)
	}
	return b.String()
}

func (conform) NegatedFailureMessage(actual any) string {
	return fmt.Sprintf("%s: %s, which was not expected", actual.(*Check).Result.Name(), verdict.Pass)
}
