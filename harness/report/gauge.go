package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"bufferstop/harness/verdict"
)

const (
	gaugeWidth  = 180.0
	gaugeHeight = 22.0
)

// gauge draws where a measurement lies: a rail with the allowed stretch thick, a stop at each bound, the span from the
// smallest to the largest value, and a pointer at the worst. It is empty when there is no bound to show.
func gauge(m verdict.Measurement) template.HTML {
	if !m.Limit.Bounded() || m.Count < 1 {
		return ""
	}
	if far := m.Limit.Max; far != nil && m.Limit.Min != nil && *m.Limit.Min > 0 && *far > 20*max(*m.Limit.Min, m.Max) {
		m.Limit.Max = nil // the upper bound is so far away that it would hide how near the lower one is
	}
	x := gaugeScale(m)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="gauge" viewBox="0 0 %g %g" aria-hidden="true">`, gaugeWidth, gaugeHeight)
	rail := func(class string, from, to, y, height float64) {
		fmt.Fprintf(&b, `<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, class, from, y, max(to-from, 1.6), height)
	}
	left, right := 0.0, gaugeWidth
	if m.Limit.Min != nil {
		left = x(*m.Limit.Min)
	}
	if m.Limit.Max != nil {
		right = x(*m.Limit.Max)
	}
	rail("rail", 0, gaugeWidth, 15.5, 1)
	rail("allowed", left, right, 12, 8)
	if m.Limit.Min != nil {
		rail("stop", left-0.8, left+0.8, 9, 13)
	}
	if m.Limit.Max != nil {
		rail("stop", right-0.8, right+0.8, 9, 13)
	}
	rail("span", x(m.Min), x(m.Max), 14, 4)
	class := "pointer"
	if m.Verdict.Outside() {
		class = "pointer outside"
	}
	at := x(m.Value)
	fmt.Fprintf(&b, `<path class="%s" d="M%.1f 11l-4.5-8h9z"/></svg>`, class, at)
	return template.HTML(b.String())
}

// gaugeScale places values on the width of the gauge, with room at both ends. What spreads over more than a factor of
// twenty is placed by its logarithm.
func gaugeScale(m verdict.Measurement) func(float64) float64 {
	low, high := m.Min, m.Max
	for _, bound := range []*float64{m.Limit.Min, m.Limit.Max} {
		if bound != nil {
			low, high = min(low, *bound), max(high, *bound)
		}
	}
	if m.Limit.Min == nil && low >= 0 {
		low = min(low, 0) // what has only an upper bound counts from nothing
	}
	turn := func(v float64) float64 { return v }
	if low > 0 && high > 20*low {
		turn = math.Log
	}
	from, to := turn(low), turn(high)
	if from == to {
		from, to = from-1, to+1
	}
	pad := (to - from) * 0.14
	from, to = from-pad, to+pad
	return func(v float64) float64 { return min(1, max(0, (turn(v)-from)/(to-from))) * gaugeWidth }
}
