package conformance

import (
	"slices"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// The tables that the suite goes through: what is commanded, and the instruction that has to come of it. They are made with
// harness/dcc and held against bit strings that were typed from the standards (standards_test.go).

// order is a command and what has to come of it.
type order = examination.Order

// bothDirections are the directions in the order in which they are driven.
var bothDirections = []dcc.Direction{dcc.Forward, dcc.Reverse}

// speedTable has stop and every step in both directions, for short and for long addresses: each kind that there is among the
// addresses gets the whole of it. Orders that follow each other are to different locomotives, as far as there are enough.
func speedTable(steps dcc.Steps, addresses []dcc.Address) (table []order) {
	var kinds [2][]dcc.Address
	for _, a := range addresses {
		if a.Long {
			kinds[1] = append(kinds[1], a)
		} else {
			kinds[0] = append(kinds[0], a)
		}
	}
	row := 0
	for _, direction := range bothDirections {
		for step := range steps.Max() + 1 {
			for _, of := range kinds {
				if len(of) > 0 {
					table = append(table, speedOrder(of[row%len(of)], steps, direction, step))
				}
			}
			row++
		}
	}
	return table
}

func speedOrder(a dcc.Address, steps dcc.Steps, direction dcc.Direction, step int) order {
	return order{
		Command: station.SetSpeedCommand(a, steps, direction, step),
		Want:    dcc.Speed{Address: a, Steps: steps, Direction: direction, Step: step},
	}
}

// addressTable drives each address, at step 9, which no other table begins with.
func addressTable(addresses []dcc.Address, steps dcc.Steps) (table []order) {
	for _, a := range addresses {
		table = append(table, speedOrder(a, steps, dcc.Forward, 9))
	}
	return table
}

// shortWalk is every claimed short address: S-9.2 B (July 2004).
func shortWalk(claimed station.Range) (addresses []dcc.Address) {
	for a := range claimed.All() {
		addresses = append(addresses, dcc.Short(uint16(a)))
	}
	return addresses
}

// The stride of a walk that cannot look at everything: prime, so that in its course every bit of the low byte changes at every
// value of the high one. Our own choice.
const (
	addressStride   = 97
	accessoryStride = 37
)

// longWalk is the claimed long addresses at which something changes, and a walk between them: the ends, every power of two, every
// multiple of 256, at which the first byte changes (S-9.2.1 C, July 2012), each with its neighbours.
func longWalk(claimed station.Range) (addresses []dcc.Address) {
	for _, a := range walk(claimed, 256, addressStride) {
		addresses = append(addresses, dcc.Long(uint16(a)))
	}
	return addresses
}

// walk returns numbers of a range in ascending order: its ends, the powers of two and the multiples of block with their
// neighbours, and every stride-th.
func walk(claimed station.Range, block, stride int) (numbers []int) {
	if !claimed.Claimed {
		return nil
	}
	add := func(around ...int) {
		for _, n := range around {
			if claimed.Contains(n) {
				numbers = append(numbers, n)
			}
		}
	}
	add(claimed.First, claimed.First+1, claimed.Last-1, claimed.Last)
	for n := 1; n <= claimed.Last; n *= 2 {
		add(n-1, n, n+1)
	}
	for n := block; n <= claimed.Last+1; n += block {
		add(n-1, n, n+1)
	}
	for n := claimed.First; n <= claimed.Last; n += stride {
		add(n)
	}
	slices.Sort(numbers)
	return slices.Compact(numbers)
}

// apart puts numbers into an order in which so many that follow each other are far from each other.
func apart(numbers []int, batch int) (shuffled []int) {
	distance := (len(numbers) + batch - 1) / batch
	for first := range distance {
		for i := first; i < len(numbers); i += distance {
			shuffled = append(shuffled, numbers[i])
		}
	}
	return shuffled
}
