package audit

import (
	"fmt"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/record"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/examination"
)

type catalogueLimit = verdict.Limit

// A Kind is how a quantity is measured, which tells its unit and what makes it uncertain.
type Kind uint8

// The kinds.
const (
	Counted      Kind = iota
	Timed             // between two edges
	Difference        // of two half-bits in a row
	TimedToOff        // from an edge to where the voltage goes
	TimedFromOff      // from an edge to where it comes back
)

// A Reading is what was measured of one quantity.
type Reading struct {
	Quantity string // as the catalogue names it
	Kind     Kind
	Spread   verdict.Spread
}

// A Report is what one judge has to say. Failures are the first few of what it found, in words.
type Report struct {
	Readings []Reading
	Failures []record.Failure
	Notes    []string
}

func (r *Report) note(format string, values ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, values...))
}

// Into judges the readings by the limits of the requirement, with what makes each quantity uncertain, and writes all of it into a result.
func (r Report) Into(result *record.Result, q catalogue.Requirement, budget func(quantity string) uncertainty.Budget) {
	result.Failures = append(result.Failures, r.Failures...)
	for _, m := range r.Readings {
		l, ok := q.Limit(m.Quantity)
		if !ok {
			panic(fmt.Sprintf("%s has no limit on %q in the catalogue", q.ID, m.Quantity))
		}
		reading := examination.Reading{Name: m.Quantity, Unit: verdict.Nanoseconds, Spread: m.Spread, Limit: l.Bounds(0)}
		switch m.Kind {
		case Counted:
			reading.Unit = verdict.Count
		case Timed:
			reading.Budget = budget(uncertainty.EdgeTime)
		case Difference:
			reading.Budget = budget(uncertainty.HalfDifference)
		case TimedToOff:
			reading.Budget = budget(uncertainty.OffBegins)
		case TimedFromOff:
			reading.Budget = budget(uncertainty.OffEnds)
		}
		reading.Judge(result)
	}
	result.Notes = append(result.Notes, r.Notes...)
}

// IDs lists the requirements that an audit judges, in the order of the catalogue: all that it marks as offline.
func IDs() []string { return offline }

var offline = func() (ids []string) {
	for _, q := range catalogue.All() {
		if q.Offline {
			ids = append(ids, q.ID)
		}
	}
	return ids
}()

// Report says what the audit has found of one requirement so far. It is empty for one that is not offline.
func (a *Audit) Report(id string) Report {
	j, known := a.judges[id]
	if !known {
		return Report{}
	}
	r := j.report(a)
	if a.lost > 0 {
		r.note("the probe lost %v of the signal: that is not judged", a.lost)
	}
	return r
}

// A tally counts what is wrong, and keeps the first few in words.
type tally struct {
	wrong    int64
	at       time.Duration // of the first
	failures []record.Failure
}

// kept is how many failures are told in words.
const kept = 5

// count counts one more, and reports whether there is room to tell it.
func (t *tally) count(at time.Duration) bool {
	if t.wrong == 0 {
		t.at = at
	}
	t.wrong++
	return t.wrong <= kept
}

func (t *tally) keep(what, expected, actual string, at time.Duration) {
	t.failures = append(t.failures, record.Failure{What: what, Expected: expected, Actual: actual, At: at})
}

func (t *tally) told() []record.Failure { return t.failures }

// Told are the failures of one requirement that were put into words so far: the first few.
func (a *Audit) Told(id string) []record.Failure {
	if j, tells := a.judges[id].(interface{ told() []record.Failure }); tells {
		return j.told()
	}
	return nil
}

// number is a report of how many there were: nothing, where nothing was heard.
func (t *tally) number(a *Audit, quantity string) Report {
	m := Reading{Quantity: quantity}
	if a.packets > 0 || t.wrong > 0 {
		m.Spread.Add(float64(t.wrong), t.at)
	}
	return Report{Readings: []Reading{m}, Failures: t.failures}
}

// and adds a spread of what was measured, if anything was.
func (r Report) and(quantity string, kind Kind, s verdict.Spread) Report {
	if s.Count > 0 {
		r.Readings = append(r.Readings, Reading{quantity, kind, s})
	}
	return r
}

// span words a time as measurements are worded.
func span(d time.Duration) string { return verdict.Nanoseconds.Format(float64(d)) }

// spaced is a packet in hexadecimal, byte by byte, as decode and watch print it.
func spaced(p dcc.Packet) string { return fmt.Sprintf("% x", []byte(p)) }
