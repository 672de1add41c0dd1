package conformance

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
)

// functionStates are what a locomotive's functions were last told, by group.
type functionStates map[dcc.FunctionGroup]uint8

// after is the order that switches a function, 0 to 68, and what the group has to be then. It notes the change.
func (s functionStates) after(a dcc.Address, function int, on bool) order {
	g, bit, err := dcc.GroupOf(function)
	if err != nil {
		panic(err) // claims go no further: station.ParseFile
	}
	s[g] &^= 1 << bit
	if on {
		s[g] |= 1 << bit
	}
	return order{
		Command: station.SetFunctionCommand(a, function, on),
		Want:    dcc.Functions{Address: a, Group: g, States: s[g]},
	}
}

// claimedFunctions are those from first to last that are claimed.
func claimedFunctions(claimed station.Range, first, last int) (functions []int) {
	for f := first; f <= last; f++ {
		if claimed.Contains(f) {
			functions = append(functions, f)
		}
	}
	return functions
}

// functionTable switches functions on one after another, then off in the same order, so that at each step the others of a
// group are a pattern that shows a bit out of place. All are off before.
func functionTable(a dcc.Address, functions []int) (table []order) {
	states := functionStates{}
	for _, on := range []bool{true, false} {
		for _, f := range functions {
			table = append(table, states.after(a, f, on))
		}
	}
	return table
}

// firstOfGroups are the lowest claimed functions of each group that has any.
func firstOfGroups(functions []int) (first []int) {
	seen := map[dcc.FunctionGroup]bool{}
	for _, f := range functions {
		if g, _, err := dcc.GroupOf(f); err == nil && !seen[g] {
			seen[g] = true
			first = append(first, f)
		}
	}
	return first
}
