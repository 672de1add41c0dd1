package conformance

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// repeatTime is how long the repetitions are watched: many rounds over a few locomotives.
const repeatTime = 3 * time.Second

// A repetition says what the command said, in every group of functions that is claimed and repeated. S-9.2 C has packets repeated because decoders miss some: one that hears only
// repetitions must come to the same speed, direction and functions.
func repetitions(x *examination.Check) {
	x.RunTrack(station.Main)
	locomotives := x.SomeLocomotives(4)
	functions := oneOfGroups(claimedFunctions(x.File.Claims.Functions, 0, knownFunctions))
	bits := map[dcc.FunctionGroup]int{}
	for i, address := range locomotives {
		x.Drive(address, 4+i, dcc.Direction(i%2))
		for _, f := range functions {
			group, bit, _ := dcc.GroupOf(f)
			bits[group] = bit
			x.Obeyed("switch a function", x.Station.SetFunction(x.Context(), address, f, i%2 == 0))
		}
	}
	x.Wait(x.CommandTime())
	w := x.Watch(station.Main)
	x.Wait(repeatTime)
	w.Stop()
	other, heard := 0, 0
	at := w.Begun
	for _, h := range w.Packets {
		for i, address := range locomotives {
			var want dcc.Instruction
			switch told := h.Meaning.(type) {
			case dcc.Speed:
				if told.Address != address {
					continue
				}
				want = dcc.Speed{Address: address, Steps: told.Steps, Direction: dcc.Direction(i % 2), Step: 4 + i}
			case dcc.Functions:
				bit, set := bits[told.Group]
				if told.Address != address || !set {
					continue
				}
				states := told.States &^ (1 << bit) // the others are as earlier checks left them
				if i%2 == 0 {
					states |= 1 << bit
				}
				want = dcc.Functions{Address: address, Group: told.Group, States: states}
			default:
				continue
			}
			heard++
			if h.Meaning != want {
				other++
				at = h.Start
				x.Wrong("a repetition", want.String(), h.Meaning.String(), h.Start)
			}
		}
	}
	if heard == 0 {
		x.Inconclusive("no speed or function packet was repeated in %v", repeatTime)
	}
	x.Number("repetitions that say otherwise", other, at)
}

// oneOfGroups is a function of each group that has any, another place in each: the second of the first group, the first of the
// next, and so on, as far as there are so many.
func oneOfGroups(functions []int) (chosen []int) {
	byGroup := map[dcc.FunctionGroup][]int{}
	var groups []dcc.FunctionGroup
	for _, f := range functions {
		g, _, _ := dcc.GroupOf(f)
		if byGroup[g] == nil {
			groups = append(groups, g)
		}
		byGroup[g] = append(byGroup[g], f)
	}
	for i, g := range groups {
		chosen = append(chosen, byGroup[g][(i+1)%2%len(byGroup[g])])
	}
	return chosen
}
