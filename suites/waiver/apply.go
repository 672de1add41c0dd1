package waiver

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
)

// Apply holds the results of a run against its waivers, of the day on which it was started (UTC). It is for a run that has all
// its results; those that were left out because the run was interrupted or ended early say nothing of a waiver.
// Waivers of what was not chosen to run are passed over.
func Apply(run *record.Record) {
	for i := range run.Results {
		run.Results[i].Waived = Of(&run.Results[i], run.Waivers, run.Started, run.Selection.Shards > 1)
	}
}

// Of is what a result makes of the waiver that is meant for it, nil when none is. In part of a run, one that is judged throughout it may
// have no cause to fail, or not every one of them: that a waiver has nothing to waive only the whole tells.
func Of(r *record.Result, waivers []record.Waiver, today time.Time, part bool) *record.Waived {
	i := slices.IndexFunc(waivers, func(w record.Waiver) bool { return w.Requirement == r.ID && (w.Track == "" || w.Track == r.Track) })
	if i < 0 {
		return nil
	}
	w := waivers[i]
	waived := &record.Waived{Reason: w.Reason, Owner: w.Owner, Expires: w.Expires, Expected: w.Expected}
	q, _ := catalogue.Find(r.ID)
	part = part && q.Throughout
	switch v := r.Verdict.Settle(); {
	case today.UTC().Format(time.DateOnly) > w.Expires: // dates in this form sort as they follow
		waived.Void = fmt.Sprintf("the waiver has expired on %s", w.Expires)
	case v.Inside() && part:
		waived.Open = true
	case v.Inside():
		waived.Void = "the check passes, so the waiver has nothing to waive"
	case v == verdict.NotClaimed || v == verdict.NotFitted:
		waived.Void = fmt.Sprintf("the check was skipped, %s", v)
	case !v.Outside():
		waived.Open = true // excluded, inconclusive or an error
	default:
		waived.Void = strange(r.Failures, w.Expected, part)
	}
	return waived
}

// Check finds out whether waivers from a record are such as Parse makes.
func Check(waivers []record.Waiver) error {
	for i, w := range waivers {
		r, known := catalogue.Find(w.Requirement)
		_, date := time.Parse(time.DateOnly, w.Expires)
		switch {
		case !known:
			return fmt.Errorf("waiver %d: %q is no requirement", i+1, w.Requirement)
		case w.Track != "" && !slices.Contains(r.Tracks, w.Track):
			return fmt.Errorf("waiver %d: %q is no track of %s", i+1, w.Track, r.ID)
		case date != nil:
			return fmt.Errorf("waiver %d: %q is no date", i+1, w.Expires)
		case w.Reason == "" || w.Owner == "" || len(w.Expected) == 0 || slices.Contains(w.Expected, ""):
			return fmt.Errorf("waiver %d: reason, owner or expected is missing", i+1)
		}
	}
	return nil
}

// strange says which failure is not the expected one, or which expected one is not there, unless that may be in another part; nothing when
// they are the same.
func strange(failures []record.Failure, expected []string, part bool) string {
	unseen := slices.Clone(expected)
	for _, f := range failures {
		text := f.String()
		found := false
		for _, e := range expected {
			if strings.Contains(text, e) {
				found = true
				unseen = slices.DeleteFunc(unseen, func(u string) bool { return u == e })
			}
		}
		if !found {
			return fmt.Sprintf("the check fails with another text: expected %s, got %q", quoted(expected), record.CleanText(text))
		}
	}
	if len(unseen) > 0 && (!part || len(failures) == 0) {
		return fmt.Sprintf("the check fails without the expected text %s", quoted(unseen))
	}
	return ""
}

func quoted(texts []string) string {
	var all []string
	for _, t := range texts {
		all = append(all, fmt.Sprintf("%q", t))
	}
	return strings.Join(all, " or ")
}
