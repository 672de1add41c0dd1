package verdict

import (
	"fmt"
	"time"
)

// A Measurement is one measured quantity of a requirement: its worst case, how it was spread, what it was held to, and
// what came of it. All numbers are in the unit of the measurement.
type Measurement struct {
	// Name says what was measured, such as "one half-bit".
	Name string `json:"name"`
	// Value is the worst case: the value nearest to a bound, or furthest outside one.
	Value float64 `json:"value"`
	Unit  Unit    `json:"unit"`
	// Count is the number of values; Min, Mean and Max are taken over all of them.
	Count int64   `json:"count"`
	Min   float64 `json:"min"`
	Mean  float64 `json:"mean"`
	Max   float64 `json:"max"`
	// At is when the worst case happened, since the start of the rig.
	At    time.Duration `json:"at_ns"`
	Limit Limit         `json:"limit,omitzero"`
	// Margin is the distance from Value to the nearest bound: positive inside, negative outside, nil without a bound.
	Margin *float64 `json:"margin,omitempty"`
	// Uncertainty is the expanded uncertainty U (k=2) of Value. It is zero for counts.
	Uncertainty float64 `json:"uncertainty"`
	// Budget is the quantity under which the rig's budgets tell how U came about; empty for counts.
	Budget  string  `json:"budget,omitempty"`
	Verdict Verdict `json:"verdict"`
}

// A Spread is how the values of one quantity are spread, and when the smallest and the largest happened.
type Spread struct {
	Count          int64
	Min, Mean, Max float64
	MinAt, MaxAt   time.Duration
}

// Single judges one value that was measured at the given time.
func Single(name string, unit Unit, value float64, at time.Duration, limit Limit, u float64) Measurement {
	s := Spread{Count: 1, Min: value, Mean: value, Max: value, MinAt: at, MaxAt: at}
	return Distribution(name, unit, s, limit, u)
}

// Distribution judges the smallest and the largest of many values: the worse of the two decides and becomes Value. A
// spread of no values is Inconclusive: nothing was there to measure.
func Distribution(name string, unit Unit, s Spread, limit Limit, u float64) Measurement {
	return DistributionBy(name, unit, s, limit, func(float64) float64 { return u })
}

// DistributionBy is Distribution with an uncertainty that depends on the value, as that of a clock does which is off by so many
// parts in a million.
func DistributionBy(name string, unit Unit, s Spread, limit Limit, u func(value float64) float64) Measurement {
	m := Measurement{Name: name, Unit: unit, Count: s.Count, Limit: limit, Verdict: Inconclusive}
	if s.Count <= 0 {
		m.Uncertainty = u(0)
		return m
	}
	m.Min, m.Mean, m.Max = s.Min, s.Mean, s.Max
	least, most := Judge(s.Min, limit, u(s.Min)), Judge(s.Max, limit, u(s.Max))
	m.Value, m.At, m.Verdict = s.Max, s.MaxAt, most
	// Of two with one verdict the one with less margin is worse.
	if least > most || least == most && limit.Margin(s.Min) < limit.Margin(s.Max) {
		m.Value, m.At, m.Verdict = s.Min, s.MinAt, least
	}
	m.Uncertainty = u(m.Value)
	if limit.Bounded() && m.Verdict != Error {
		margin := limit.Margin(m.Value)
		m.Margin = &margin
	}
	return m
}

// Duration judges one span of time in nanoseconds.
func Duration(name string, d, at time.Duration, limit Limit, u time.Duration) Measurement {
	return Single(name, Nanoseconds, float64(d), at, limit, float64(u))
}

// Number judges one count, which is exact.
func Number[N int | int64 | uint64](name string, n N, at time.Duration, limit Limit) Measurement {
	return Single(name, Count, float64(n), at, limit, 0)
}

// String words the worst case, its uncertainty, and how all values were spread: "63.2 µs ± 59 ns (worst of 80; from …)".
func (m Measurement) String() string {
	if m.Count == 0 {
		return "nothing was there to measure"
	}
	text := m.Unit.Format(m.Value)
	if m.Uncertainty != 0 {
		text += " ± " + m.Unit.Format(m.Uncertainty)
	}
	if m.Count > 1 {
		text += fmt.Sprintf(" (worst of %d; from %s to %s, mean %s)",
			m.Count, m.Unit.Format(m.Min), m.Unit.Format(m.Max), m.Unit.Format(m.Mean))
	}
	return text
}
