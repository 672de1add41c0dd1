package examination

import (
	"fmt"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"

	"periph.io/x/conn/v3/physic"
)

// limit turns the catalogue's limit on a quantity into numbers, by the edition that the station keeps to. A bound that the station
// declares is given by promised.
// A quantity that the catalogue does not know is a fault of the harness, and panics as one.
func (x *Check) limit(quantity string, promised float64) verdict.Limit {
	l, ok := x.Requirement.LimitBy(quantity, x.File.Claims.Editions)
	if !ok {
		panic(fmt.Sprintf("%s has no limit on %q in the catalogue", x.Requirement.ID, quantity))
	}
	return l.Bounds(promised)
}

// promise is the limit on a quantity that the station declares, or none where it declares nothing: then the check is not
// claimed, and says so.
func (x *Check) promise(quantity string, promised float64) verdict.Limit {
	if promised == 0 {
		x.Result.Reason = "the station does not declare: " + quantity
		return verdict.Limit{}
	}
	return x.limit(quantity, promised)
}

// NotDeclared says that the check asks nothing of the station, because it does not declare what it would be held to.
func (x *Check) NotDeclared(format string, args ...any) {
	x.Worsen(verdict.NotClaimed, "the station does not declare: "+fmt.Sprintf(format, args...))
}

// Spread judges every value of a timing distribution, with the rig's uncertainty of the time between two edges.
func (x *Check) Spread(quantity string, d *signal.Distribution) {
	x.SpreadOfTimes(quantity, spreadOf(d))
	x.halvesFirm()
}

// halvesFirm notes whether the half-bits that were judged just now are outside their limit. How busy the host was has no part in
// their times.
func (x *Check) halvesFirm() {
	x.firm = x.firm || x.Result.Measurements[len(x.Result.Measurements)-1].Verdict.Outside()
}

// SpreadOfDifferences judges every value of a distribution of differences of two half-bits, which share an edge. By an edition that
// has no limit on them there is nothing to judge, and a note says so.
func (x *Check) SpreadOfDifferences(quantity string, d *signal.Distribution) {
	if x.Requirement.Unlimited(quantity, x.File.Claims.Editions) {
		x.Note("%s: no limit by the edition that the station claims", quantity)
		return
	}
	x.measured(Reading{quantity, verdict.Nanoseconds, spreadOf(d), x.limit(quantity, 0), x.Budget(uncertainty.HalfDifference)})
	x.halvesFirm()
}

// SpreadOfCounts judges every value of a spread of counts.
func (x *Check) SpreadOfCounts(quantity string, s verdict.Spread) {
	x.Measured(verdict.Distribution(quantity, verdict.Count, s, x.limit(quantity, 0), 0))
}

// SpreadOfTimes judges every value of a spread of times between edges, in nanoseconds.
func (x *Check) SpreadOfTimes(quantity string, s verdict.Spread) {
	x.measured(Reading{quantity, verdict.Nanoseconds, s, x.limit(quantity, 0), x.Budget(uncertainty.EdgeTime)})
}

func spreadOf(d *signal.Distribution) verdict.Spread {
	if d.Count == 0 {
		return verdict.Spread{}
	}
	return verdict.Spread{
		Count: d.Count, Min: float64(d.Min), Mean: d.Mean(), Max: float64(d.Max), MinAt: d.MinAt, MaxAt: d.MaxAt,
	}
}

// Number judges a count that came to n at a time.
func (x *Check) Number(quantity string, n int, at time.Duration) {
	x.Measured(verdict.Number(quantity, n, at, x.limit(quantity, 0)))
}

// SpanOfCurrent judges a span of time for which a current flowed.
func (x *Check) SpanOfCurrent(quantity string, span, at time.Duration) {
	var s verdict.Spread
	s.Add(float64(span), at)
	x.measured(Reading{quantity, verdict.Nanoseconds, s, x.limit(quantity, 0), x.Budget(uncertainty.CurrentTime)})
}

// Promise judges a span of time against one that the station declares. A station that declares none is not judged: the
// check is not claimed. The budget is that of how the time was measured.
func (x *Check) Promise(quantity string, span, promised, at time.Duration, by uncertainty.Budget) {
	var s verdict.Spread
	s.Add(float64(span), at)
	x.measured(Reading{quantity, verdict.Nanoseconds, s, x.promise(quantity, float64(promised)), by})
}

// Measured adds a measurement to the result; one outside its limit is a failure with what was expected.
func (x *Check) Measured(m verdict.Measurement) { measure(&x.Result, m) }

func measure(result *record.Result, m verdict.Measurement) {
	result.Measure(m)
	switch {
	case m.Verdict.Outside():
		result.Failures = append(result.Failures, record.Failure{
			What:     m.Name,
			Expected: m.Unit.FormatLimit(m.Limit),
			Actual:   m.String(),
			At:       m.At,
		})
	case m.Count == 0 && m.Verdict == verdict.Inconclusive && result.Reason == "":
		result.Reason = "nothing to measure: " + m.Name
	}
}

// Wrong notes one thing that the station did otherwise than asked, side by side with what was expected. The count of
// them is the measurement; a few are kept in words.
func (x *Check) Wrong(what, expected, actual string, at time.Duration) {
	const kept = 5
	if len(x.Result.Failures) < kept {
		x.Result.Failures = append(x.Result.Failures, record.Failure{What: what, Expected: expected, Actual: actual, At: at})
	}
}

// Failed notes one thing that the station did wrong, and makes the verdict a failure.
func (x *Check) Failed(what, expected, actual string, at time.Duration) {
	x.Result.Fail(record.Failure{What: what, Expected: expected, Actual: actual, At: at})
}

// PromisedError judges a spread of errors of a current, in milliamperes, against an accuracy that the station declares. Each is
// the difference from the mean of at least n samples, of currents up to the given one.
func (x *Check) PromisedError(quantity string, s verdict.Spread, promised physic.ElectricCurrent, upTo physic.ElectricCurrent, n int) {
	const milli = float64(physic.MilliAmpere)
	b := x.Budget(uncertainty.Current).Averaged(n).At(float64(upTo) / milli)
	x.measured(Reading{quantity, verdict.Milliamperes, s, x.promise(quantity, float64(promised)/milli), b})
}
