package record

import (
	"fmt"
	"math"
	"strings"
	"time"

	"bufferstop/harness/verdict"
)

// Conclude closes the record: it settles results that were never measured, makes numbers and text fit to be written,
// counts the verdicts, and says what the run as a whole came to. rigTime and wallTime are how long the run took;
// interrupted says that the user stopped it. A run in which nothing was measured is incomplete, and so is one that was ended
// early.
func (r *Record) Conclude(rigTime, wallTime time.Duration, interrupted bool) {
	r.RigTime, r.WallTime = rigTime, wallTime
	if r.Results == nil {
		r.Results = []Result{}
	}
	r.Totals = Totals{}
	r.Outcome = verdict.Conforms
	measured := false
	for i := range r.Results {
		result := &r.Results[i]
		result.settle()
		measured = measured || result.Verdict.Inside() || result.Verdict.Outside()
		*r.Totals.field(result.Verdict)++
		if result.IsWaived() {
			r.Totals.Waived++
		}
		r.Outcome = verdict.Override(r.Outcome, result.outcome())
	}
	if r.doubtful() || len(r.Station.Observations) > 0 {
		r.Outcome = verdict.Override(r.Outcome, verdict.ConformsWithObservations)
	}
	if !measured || r.EndedEarly != "" {
		r.Outcome = verdict.Override(r.Outcome, verdict.Incomplete)
	}
	if interrupted {
		r.Outcome = verdict.Interrupted
	}
	r.ExitCode = r.Outcome.ExitCode()
	r.Statement = r.statement()
	r.clean()
}

// outcome is what the result makes of the run. What a waiver lets pass is an observation, and a waiver that does not hold is no
// better than a failure.
func (r *Result) outcome() verdict.Outcome {
	switch {
	case r.IsWaived():
		return verdict.ConformsWithObservations
	case r.VoidWaiver() != "":
		return verdict.Override(verdict.DoesNotConform, verdict.Of(r.Level, r.Verdict))
	case r.isForElsewhere():
		return verdict.ConformsWithObservations
	}
	return verdict.Of(r.Level, r.Verdict)
}

// isForElsewhere reports whether the rig could not check it, and could not be expected to.
func (r *Result) isForElsewhere() bool { return r.Verdict == verdict.NotFitted && r.Elsewhere != "" }

// doubtful reports whether an observation of the rig bears on the run. Such an observation is about how well the rig measures: a
// probe without calibration may be off by more than anybody knows. So it makes an observation of the run as soon as one verdict
// rests on a measurement that is uncertain, and none where all that was judged are counts, which are exact. It never makes
// anything worse: the budgets of a probe without calibration are wide enough for that.
func (r *Record) doubtful() bool {
	if len(r.Rig.Observations) == 0 {
		return false
	}
	for _, result := range r.Results {
		for _, m := range result.Measurements {
			if m.Uncertainty > 0 && (m.Verdict.Inside() || m.Verdict.Outside()) {
				return true
			}
		}
	}
	return false
}

// statement words the outcome: how much was checked, and the names of what stands in the way.
func (r *Record) statement() string {
	var kept, broken, open, faults, observed, waived, void, elsewhere []string
	for _, result := range r.Results {
		name := result.Name()
		if why := result.VoidWaiver(); why != "" {
			void = append(void, name+" ("+why+")")
		}
		switch v := result.Verdict; {
		case result.IsWaived():
			waived = append(waived, name)
		case v == verdict.Error:
			faults = append(faults, name)
		case v.Outside() && result.Level == verdict.Must:
			broken = append(broken, name)
		case result.isForElsewhere():
			elsewhere = append(elsewhere, fmt.Sprintf("%s (%s)", name, result.Elsewhere))
		case (v == verdict.Inconclusive || v == verdict.NotFitted) && result.Level == verdict.Must:
			open = append(open, name)
		case v == verdict.Pass:
			kept = append(kept, name)
		case v == verdict.ConditionalPass || result.Level == verdict.Should && !v.Skipped() || v == verdict.NotFitted:
			observed = append(observed, name)
		}
	}
	var said []string
	if r.Outcome == verdict.Interrupted {
		said = append(said, "The run was stopped before its end.")
	}
	if r.EndedEarly != "" {
		said = append(said, fmt.Sprintf("The run was ended early: %s.", r.EndedEarly))
	}
	if len(faults) > 0 {
		said = append(said, fmt.Sprintf("The rig or the harness was at fault in %s, so the run says nothing final about the station.",
			names(faults)))
	}
	if len(broken) > 0 {
		said = append(said, fmt.Sprintf("The station does not keep %s.", names(broken)))
	}
	if len(open) > 0 {
		said = append(said, fmt.Sprintf("Not checked, though required: %s.", names(open)))
	}
	if len(elsewhere) > 0 {
		said = append(said, fmt.Sprintf("To be checked by other means: %s.", names(elsewhere)))
	}
	if len(observed) > 0 {
		said = append(said, fmt.Sprintf("Worth a look: %s.", names(observed)))
	}
	if len(waived) > 0 {
		said = append(said, fmt.Sprintf("Waived: %s.", names(waived)))
	}
	if len(void) > 0 {
		said = append(said, fmt.Sprintf("Waivers that do not hold any more: %s.", names(void)))
	}
	if len(r.Station.Observations) > 0 {
		said = append(said, fmt.Sprintf("Of the station: %s.", strings.Join(r.Station.Observations, "; ")))
	}
	if r.doubtful() {
		said = append(said, fmt.Sprintf("Of the rig: %s.", strings.Join(r.Rig.Observations, "; ")))
	}
	switch {
	case len(kept) == 0:
		said = append(said, "No check passed.")
	case len(said) == 0:
		said = append(said, fmt.Sprintf("All %d checks that were made passed.", len(kept)))
	default:
		said = append(said, fmt.Sprintf("%d of %d checks passed.", len(kept), r.Totals.Sum()-r.Totals.Excluded-r.Totals.NotClaimed))
	}
	switch s := r.Selection; {
	case s.Everything():
	case s.Shards > 1:
		said = append(said, fmt.Sprintf("Only part %d of %d was run.", s.Shard, s.Shards))
	default:
		said = append(said, "Only a selection was run.")
	}
	return strings.Join(said, " ")
}

// names lists the first few of many.
func names(all []string) string {
	const enough = 6
	if len(all) > enough {
		return strings.Join(all[:enough], ", ") + fmt.Sprintf(" and %d more", len(all)-enough)
	}
	return strings.Join(all, ", ")
}

// settle turns what was never measured, or measured as no number, into an error of ours.
func (r *Result) settle() {
	if r.Level == "" {
		r.Level = verdict.Must
	}
	for i := range r.Measurements {
		m := &r.Measurements[i]
		numbers := []*float64{&m.Value, &m.Min, &m.Mean, &m.Max, &m.Uncertainty, m.Margin, m.Limit.Min, m.Limit.Max}
		for _, number := range numbers {
			if number != nil && (math.IsNaN(*number) || math.IsInf(*number, 0)) {
				r.Notes = append(r.Notes, fmt.Sprintf("%s: the harness measured %v, which is no number; it is recorded as 0",
					m.Name, *number))
				*number, m.Verdict = 0, verdict.Error
			}
		}
		m.Verdict = m.Verdict.Settle()
		r.Verdict = verdict.Worsen(r.Verdict, m.Verdict)
	}
	if r.Verdict == verdict.Unmeasured {
		r.Verdict = verdict.Error
		if r.Reason == "" {
			r.Reason = "the check ended without a measurement"
		}
	}
}
