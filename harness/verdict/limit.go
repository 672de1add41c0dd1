package verdict

import "math"

// A Limit is what a requirement allows a quantity to be, in the unit of the measurement. A bound that is nil does not
// exist; both bounds are themselves allowed values. The zero Limit allows everything and judges nothing.
type Limit struct {
	Min *float64 `json:"min,omitempty"`
	Max *float64 `json:"max,omitempty"`
	// Source says where the bounds come from: standard, section and edition, or "declared by the station".
	Source string `json:"source,omitempty"`
}

// Between allows min to max.
func Between(min, max float64, source string) Limit {
	return Limit{Min: &min, Max: &max, Source: source}
}

// AtLeast allows min and more.
func AtLeast(min float64, source string) Limit { return Limit{Min: &min, Source: source} }

// AtMost allows max and less.
func AtMost(max float64, source string) Limit { return Limit{Max: &max, Source: source} }

// Exactly allows one value only.
func Exactly(value float64, source string) Limit { return Between(value, value, source) }

// Bounded reports whether the limit has a bound at all.
func (l Limit) Bounded() bool { return l.Min != nil || l.Max != nil }

// Margin is the distance from value to the nearest bound: positive inside the limit, negative outside. It is infinite
// for a limit without bounds.
func (l Limit) Margin(value float64) float64 {
	margin := math.Inf(1)
	if l.Min != nil {
		margin = min(margin, value-*l.Min)
	}
	if l.Max != nil {
		margin = min(margin, *l.Max-value)
	}
	return margin
}

// sound reports whether the bounds are numbers and in order.
func (l Limit) sound() bool {
	if l.Min != nil && !finite(*l.Min) || l.Max != nil && !finite(*l.Max) {
		return false
	}
	return l.Min == nil || l.Max == nil || *l.Min <= *l.Max
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// Judge compares a value with its limit by the non-binary rule of ILAC-G8:09/2019 section 4.2.3, with a guard band of
// u, the expanded uncertainty (k=2) of the value. Counts have u = 0, and then a value on the bound passes. Without a
// bound there is nothing to hold the station to: NotClaimed. A value, an uncertainty or a limit that makes no sense is
// our fault: Error.
func Judge(value float64, limit Limit, u float64) Verdict {
	if !finite(value) || !finite(u) || u < 0 || !limit.sound() {
		return Error
	}
	if !limit.Bounded() {
		return NotClaimed
	}
	switch margin := limit.Margin(value); {
	case margin >= u:
		return Pass
	case margin >= 0:
		return ConditionalPass
	case margin >= -u:
		return ConditionalFail
	}
	return Fail
}
