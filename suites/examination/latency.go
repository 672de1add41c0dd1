package examination

import (
	"cmp"
	"math"
	"slices"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
)

// The quantities of a latency, by the names that the catalogue has for them.
const (
	MedianLatency   = "half of the commands"
	UsualLatency    = "95 of 100 commands"
	GreatestLatency = "slowest command"
)

// A Delay is how long a command took to the track, and when its packet had come.
type Delay struct{ Took, At time.Duration }

// Quantile is the smallest of the delays that at least the given part of them do not exceed: the nearest rank.
func Quantile(delays []Delay, part float64) Delay {
	sorted := slices.SortedFunc(slices.Values(delays), func(a, b Delay) int { return cmp.Compare(a.Took, b.Took) })
	return sorted[max(int(math.Ceil(part*float64(len(sorted)))), 1)-1]
}

// Latency judges delays against what the station declares of their median, their 95th part of a hundred and their greatest.
// What it does not declare is measured and told all the same, but not judged; with nothing declared the check is not claimed.
func (x *Check) Latency(delays []Delay, p50, p95, greatest time.Duration) {
	declared := false
	for _, q := range []struct {
		quantity string
		part     float64
		promised time.Duration
	}{{MedianLatency, 0.5, p50}, {UsualLatency, 0.95, p95}, {GreatestLatency, 1, greatest}} {
		d := Quantile(delays, q.part)
		s := verdict.Spread{}
		s.Add(float64(d.Took), d.At)
		var limit verdict.Limit
		if q.promised > 0 {
			declared = true
			limit = x.limit(q.quantity, float64(q.promised))
		}
		x.measured(Reading{q.quantity, verdict.Nanoseconds, s, limit, x.Budget(uncertainty.CommandTime)})
	}
	if !declared {
		x.Result.Reason = "the station does not declare how long a command takes to the track"
	}
}

// PromisedNumber judges a count against one that the station declares.
func (x *Check) PromisedNumber(quantity string, n, promised int, at time.Duration) {
	x.Measured(verdict.Number(quantity, n, at, x.promise(quantity, float64(promised))))
}

// Part judges a ratio, told in percent.
func (x *Check) Part(quantity string, ratio float64, at time.Duration) {
	x.Measured(verdict.Single(quantity, verdict.Percent, 100*ratio, at, x.limit(quantity, 0), 0))
}

// Missing notes an order whose packet has not come.
func (x *Check) Missing(what string, o Order, at time.Duration) {
	x.Result.Failures = append(x.Result.Failures, record.Failure{What: what, Expected: o.Want.String(), Actual: "no such packet", At: at})
}
