package judgement

import (
	"math"
	"time"

	"bufferstop/harness/uncertainty"
)

// times is how well the times of a recording are known.
type times struct {
	grid    time.Duration // zero if U was given
	budgets []uncertainty.Budget
}

// timesOf takes U as it was given, or makes it of the grid on which all edges lie.
func timesOf(given, grid time.Duration) times {
	if given > 0 {
		u := uncertainty.Deviation("time between two edges, as given", float64(given)/uncertainty.Coverage, "--uncertainty, divided by k = 2")
		edge := uncertainty.Budget{Quantity: uncertainty.EdgeTime, Unit: "ns", Typical: 58_000, K: uncertainty.Coverage,
			Model: "time = second edge - first", Components: []uncertainty.Component{u}}
		// Two half-bits share an edge, which counts twice in their difference: √3 times as uncertain as one of them.
		half := uncertainty.Budget{Quantity: uncertainty.HalfDifference, Unit: "ns", K: uncertainty.Coverage,
			Model: "difference = third edge - 2 × second edge + first edge", Components: []uncertainty.Component{u.Weighted(math.Sqrt(3))}}
		return times{budgets: []uncertainty.Budget{edge, half}}
	}
	grid = max(grid, time.Nanosecond)
	e := uncertainty.Edges{Period: float64(grid), Clock: "the grid on which all edges of the file lie", WholeNanoseconds: grid < 100*time.Nanosecond}
	return times{grid: grid, budgets: []uncertainty.Budget{uncertainty.EdgeTimes(e), uncertainty.HalfDifferences(e)}}
}

// budget finds one by its quantity. When a voltage goes and comes back is known as well as when it reverses: a file does not tell what saw it.
func (t times) budget(quantity string) uncertainty.Budget {
	if quantity == uncertainty.OffBegins || quantity == uncertainty.OffEnds {
		quantity = uncertainty.EdgeTime
	}
	for _, b := range t.budgets {
		if b.Quantity == quantity {
			return b
		}
	}
	return uncertainty.Budget{}
}

// expanded is U of the time between two edges, rounded up as every report tells it.
func (t times) expanded() time.Duration {
	b := t.budget(uncertainty.EdgeTime)
	return time.Duration(math.Ceil(uncertainty.RoundUp(b.Expanded(b.Typical))))
}
