// Package matrix finds out what the suites are worth: it examines a station once with each seeded defect, and tells which
// requirements caught which. It knows no rig: whoever calls it says how a station with a defect is examined.
package matrix

import (
	"context"
	"slices"
	"sync"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
)

// A Defect is one that can be seeded: its name, and the requirements that a station with it does not keep.
type Defect struct {
	Name   string
	Breaks []string
}

// A Row is what came of one defect. Lists of requirements are sorted.
type Row struct {
	Defect   string   `json:"defect"`
	Intended []string `json:"intended"`          // requirements that it is meant to break
	Caught   []string `json:"caught"`            // those of them that failed
	Missed   []string `json:"missed"`            // those of them that did not
	Implied  []string `json:"implied"`           // others that failed, as the catalogue says of what the defect breaks
	Strange  []string `json:"strange"`           // others that failed, and nothing says why
	Outcome  string   `json:"outcome,omitempty"` // of the run
	// Fault is what else is wrong: the run came to nothing, a check was at fault itself, or the outcome is not what it has to be.
	Fault string `json:"fault,omitempty"`
}

// OK reports whether the defect was caught by what it breaks, and nothing else tripped over it that need not.
func (r Row) OK() bool { return len(r.Missed) == 0 && len(r.Strange) == 0 && r.Fault == "" }

// Judge tells what a run with a defect came to.
func Judge(d Defect, run *record.Record) Row { return judge(d, run, catalogue.Implied) }

func judge(d Defect, run *record.Record, impliedBy func(ids ...string) []string) Row {
	row := Row{Defect: d.Name, Intended: sorted(d.Breaks), Caught: []string{}, Missed: []string{}, Implied: []string{}, Strange: []string{},
		Outcome: string(run.Outcome)}
	var failed []string
	for _, r := range run.Results {
		switch {
		case r.Verdict.Outside():
			failed = append(failed, r.ID)
			if len(r.Failures) == 0 {
				row.Fault = r.Name() + " fails without saying what"
			}
		case r.Verdict.Settle() == verdict.Error:
			row.Fault = r.Name() + " is at fault itself: " + r.Reason
		}
	}
	implied := impliedBy(d.Breaks...)
	for _, id := range sorted(failed) {
		switch {
		case slices.Contains(d.Breaks, id):
			row.Caught = append(row.Caught, id)
		case slices.Contains(implied, id):
			row.Implied = append(row.Implied, id)
		default:
			row.Strange = append(row.Strange, id)
		}
	}
	for _, id := range row.Intended {
		if !slices.Contains(row.Caught, id) {
			row.Missed = append(row.Missed, id)
		}
	}
	if want := wanted(slices.Concat(d.Breaks, failed)); row.Fault == "" && run.Outcome != want {
		row.Fault = "the run " + string(run.Outcome) + ", where it has to say: " + string(want)
	}
	return row
}

// wanted is what a run has to come to in which these fail: where it is nothing but what a station SHOULD keep, that is an observation.
func wanted(ids []string) verdict.Outcome {
	for _, id := range ids {
		if r, known := catalogue.Find(id); !known || r.Level == verdict.Must {
			return verdict.DoesNotConform
		}
	}
	return verdict.ConformsWithObservations
}

func sorted(ids []string) []string {
	all := append([]string{}, ids...)
	slices.Sort(all)
	return slices.Compact(all)
}

// Unproven lists the requirements that none of the defects breaks, in the order of the catalogue.
func Unproven(defects []Defect) []string {
	ids := []string{}
	for _, r := range catalogue.All() {
		if !slices.ContainsFunc(defects, func(d Defect) bool { return slices.Contains(d.Breaks, r.ID) }) {
			ids = append(ids, r.ID)
		}
	}
	return ids
}

// Run has a station examined with each of the defects, up to so many at a time, and returns a row for each in their order. onRow, if
// set, is called with each row as it is there, one at a time. When ctx ends Run stops and returns its error; that an examination
// fails otherwise is the fault of its row.
func Run(ctx context.Context, defects []Defect, workers int, examine func(ctx context.Context, defect string) (*record.Record, error),
	onRow func(Row)) ([]Row, error) {
	rows := make([]Row, len(defects))
	next := make(chan int)
	var telling sync.Mutex
	var all sync.WaitGroup
	for range max(1, min(workers, len(defects))) {
		all.Go(func() {
			for i := range next {
				row := Row{Defect: defects[i].Name, Intended: sorted(defects[i].Breaks), Caught: []string{}, Missed: sorted(defects[i].Breaks),
					Implied: []string{}, Strange: []string{}}
				if run, err := examine(ctx, defects[i].Name); err != nil {
					row.Fault = "it was not examined: " + err.Error()
				} else {
					row = Judge(defects[i], run)
				}
				rows[i] = row
				if onRow != nil && ctx.Err() == nil {
					telling.Lock()
					onRow(row)
					telling.Unlock()
				}
			}
		})
	}
	for i := range defects {
		select {
		case next <- i:
		case <-ctx.Done():
		}
	}
	close(next)
	all.Wait()
	return rows, ctx.Err()
}
