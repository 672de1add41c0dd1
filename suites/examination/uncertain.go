package examination

import (
	"fmt"

	"bufferstop/harness/record"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
)

// Budget is what makes a quantity uncertain that the rig measures on the track of the check.
func (x *Check) Budget(quantity string) uncertainty.Budget {
	return x.Rig.Describe().Budget(quantity, x.Track)
}

// A Reading is what was measured of one quantity, what it is held to, and what makes it uncertain.
type Reading struct {
	Name   string
	Unit   verdict.Unit
	Spread verdict.Spread
	Limit  verdict.Limit
	Budget uncertainty.Budget // the zero value for what is counted
}

func (x *Check) measured(r Reading) { r.Judge(&x.Result) }

// Judge judges a reading with the uncertainty that each value has, rounded up as it is told in every report, unless it repeats too badly
// to be judged, and adds what comes of it to the result.
func (r Reading) Judge(result *record.Result) {
	m := verdict.DistributionBy(r.Name, r.Unit, r.Spread, r.Limit, func(value float64) float64 {
		return uncertainty.RoundUp(r.Budget.Expanded(value))
	})
	m.Budget = r.Budget.Quantity
	if judged := m.Verdict.Inside() || m.Verdict.Outside(); judged {
		if repeats := r.Budget.Repeatability(m.Value); tooCoarse(repeats, m.Limit) {
			m.Verdict = verdict.Inconclusive
			if result.Reason == "" {
				result.Reason = refusal(m, repeats)
			}
		}
	}
	measure(result, m)
}

// A verdict is refused where the measurement itself takes more than 30 % of the tolerance, six standard deviations of its
// repeatability for the whole of it: it would say now this and now that of the same station. Both numbers are those of measurement
// system analysis; common practice, from memory.
const (
	largestPart = 0.30
	deviations  = 6
)

// tooCoarse reports whether a standard deviation is too large for a limit.
func tooCoarse(repeatability float64, l verdict.Limit) bool {
	width := tolerance(l)
	return width > 0 && deviations*repeatability > largestPart*width
}

// tolerance is how much room a limit leaves: from one bound to the other, or from nothing to the upper one, since what is measured
// here is never negative. It is zero where there is none to speak of: a lower bound alone leaves no end of room.
func tolerance(l verdict.Limit) float64 {
	switch {
	case l.Max == nil:
		return 0
	case l.Min == nil:
		return *l.Max
	}
	return *l.Max - *l.Min
}

// refusal words why there is no verdict.
func refusal(m verdict.Measurement, repeatability float64) string {
	width := tolerance(m.Limit)
	return fmt.Sprintf("%s: the rig repeats a measurement only to a standard deviation of %s; six of these take %s of the tolerance of %s, and above %s no verdict is given (measurement system analysis, common practice)",
		m.Name, m.Unit.Format(repeatability), percent(deviations*repeatability/width), m.Unit.Format(width), percent(largestPart))
}

func percent(part float64) string { return fmt.Sprintf("%.0f %%", 100*part) }
