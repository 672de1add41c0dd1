package suites

import (
	"context"
	"fmt"

	"bufferstop/harness"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/examination"

	"github.com/onsi/ginkgo/v2"
	"github.com/onsi/ginkgo/v2/types"
	"github.com/onsi/gomega"
)

// entryName is the name under which a spec hands its check to the report.
const entryName = "bufferstop check"

// Register builds the one root container of all chosen requirements: a container for each suite, a spec for each
// requirement on each of its tracks. It is a call, not a package variable, because a spec needs its session.
//
// Every spec leaves the rig safe: what it opened is closed, loads are off, track power is off, also when it fails,
// panics or is interrupted. A run from which nothing more can come is ended early: the rest of the specs then leave their
// checks out, and the course that is returned says why.
//
// What is judged throughout the run comes last, of whichever suite it is: then the tracks have carried all that they will.
func Register(ctx context.Context, s *harness.Session, chosen []catalogue.Requirement, h *hearing) *Course {
	code := specs(h)
	course := &Course{session: s}
	put := func(r catalogue.Requirement) {
		for _, track := range tracksOf(r) {
			x := examination.New(s, r, track)
			ginkgo.It(x.Result.Name()+" "+r.Title, ginkgo.Label(r.Suite, r.ID, string(track)), func(specCtx ginkgo.SpecContext) {
				ginkgo.DeferCleanup(h.hands(r)) // after the check has made the rig safe: cleanups go backwards
				course.check(ctx, specCtx, x, code[r.ID])
			})
		}
	}
	ginkgo.Describe("command station", ginkgo.Ordered, ginkgo.ContinueOnFailure, func() {
		for _, suite := range catalogue.Suites() {
			ginkgo.Context(suite, func() {
				for _, r := range chosen {
					if r.Suite == suite && !r.Throughout {
						put(r)
					}
				}
			})
		}
		ginkgo.Context("throughout", func() {
			for _, r := range chosen {
				if r.Throughout {
					put(r)
				}
			}
		})
	})
	return course
}

// check runs one check in its spec, under the context of the run as well as that of the spec.
func (c *Course) check(runCtx context.Context, specCtx ginkgo.SpecContext, x *examination.Check, spec examination.Spec) {
	ctx, cancel := context.WithCancelCause(runCtx)
	defer cancel(nil)
	defer context.AfterFunc(specCtx, func() { cancel(context.Cause(specCtx)) })()

	ginkgo.AddReportEntry(entryName, x, ginkgo.ReportEntryVisibilityNever)
	if runCtx.Err() != nil {
		x.Skip(verdict.Excluded, "the run was stopped before")
		ginkgo.Skip(x.Result.Reason)
	}
	if v, reason := x.Applies(); v != verdict.Unmeasured {
		x.Skip(v, reason)
		ginkgo.Skip(reason)
	}
	if !c.goesOn(runCtx) {
		x.Skip(verdict.Excluded, "the run was ended early: "+c.ended)
		ginkgo.Skip(x.Result.Reason)
	}
	c.last = x
	ginkgo.DeferCleanup(func() { x.Finish(runCtx) })
	x.Run(ctx, spec)
	gomega.Expect(x).To(examination.Conform())
}

// checkOf takes the check out of a finished spec's report. How the spec ended may worsen its verdict: what Ginkgo caught
// and the check did not foresee is the harness's fault, not the station's.
func checkOf(report ginkgo.SpecReport) (*examination.Check, bool) {
	for _, entry := range report.ReportEntries {
		if entry.Name != entryName {
			continue
		}
		x, ok := entry.GetRawValue().(*examination.Check)
		if !ok {
			continue
		}
		failure := report.Failure
		switch {
		case report.State.Is(types.SpecStatePanicked):
			x.Worsen(verdict.Error, fmt.Sprintf("the harness panicked at %s: %s", failure.Location, failure.ForwardedPanic))
		case report.State.Is(types.SpecStateTimedout | types.SpecStateInterrupted | types.SpecStateAborted):
			x.Worsen(verdict.Error, "the check was cut short: "+failure.Message)
		case report.State.Is(types.SpecStateFailed) && (x.Result.Verdict.Inside() || x.Result.Verdict == verdict.Unmeasured):
			x.Worsen(verdict.Error, "an expectation of the check itself failed: "+failure.Message)
		}
		return x, true
	}
	return nil, false
}
