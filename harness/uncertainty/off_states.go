package uncertainty

import "slices"

// OffStates says how well it is known when the voltage of a track goes and comes back, beyond the times of edges. Both bounds are in
// nanoseconds.
type OffStates struct {
	Edges
	// Goes bounds what the probe sees the voltage go too early or too late by; Returns the same of its return.
	Goes, Returns float64
	Source        string
}

// typicalGoes and typicalReturns are where a cutout begins and ends after the packet before it: RCN-217 2.4 and S-9.3.2 2.4, from
// memory. In nanoseconds.
const typicalGoes, typicalReturns = 29_000, 471_000

// OffTimes are the budgets of the time from an edge until the voltage goes, and until it comes back.
func OffTimes(o OffStates) []Budget {
	budget := func(quantity, name string, typical, bound float64) Budget {
		b := EdgeTimes(o.Edges)
		b.Quantity, b.Typical = quantity, typical
		if bound > 0 {
			b.Components = append(slices.Clone(b.Components), HalfWidth(name, bound, o.Source))
		}
		return b
	}
	return []Budget{
		budget(OffBegins, "the probe sees the voltage go", typicalGoes, o.Goes),
		budget(OffEnds, "the probe sees the voltage return", typicalReturns, o.Returns),
	}
}
