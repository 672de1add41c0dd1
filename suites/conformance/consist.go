package conformance

import (
	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// consistAddresses has each of the seven bits of a consist's address by itself, and all of them.
var consistAddresses = []int{1, 2, 4, 8, 16, 32, 64, 127}

// consistTable puts each locomotive into consists, the normal way and reversed: S-9.2.1 C (July 2012), consist control.
func consistTable(addresses []dcc.Address) (table []order) {
	for _, consist := range consistAddresses {
		for _, reversed := range []bool{false, true} {
			for _, a := range addresses {
				table = append(table, order{
					Command: station.SetConsistCommand(a, consist, reversed),
					Want:    dcc.Consist{Address: a, Consist: consist, Reversed: reversed},
				})
			}
		}
	}
	return table
}

// outOfConsist is what takes a locomotive out of its consist: address 0. The direction says nothing then.
func outOfConsist(a dcc.Address, reversed bool) dcc.Consist {
	return dcc.Consist{Address: a, Reversed: reversed}
}

// S-9.2.1 C: 00010010 or 00010011, and the address of the consist; 0 ends it.
func consists(x *examination.Check) {
	x.RunTrack(station.Main)
	locomotives := x.Locomotives(2)
	defer x.LetGo(locomotives...)
	w := x.Watch(station.Main)
	wrong := x.CarryAll(w, consistTable(locomotives), 1, false)
	for _, a := range locomotives {
		given := x.Now()
		x.Obeyed("leave a consist", x.Station.ClearConsist(x.Context(), a))
		if _, seen := x.Await(w, given, x.CommandTime(), func(h harness.Heard) bool {
			return h.Meaning == dcc.Instruction(outOfConsist(a, false)) || h.Meaning == dcc.Instruction(outOfConsist(a, true))
		}); !seen {
			wrong++
			x.Wrong("packet for a command", outOfConsist(a, false).String(), "no such packet", given)
		}
	}
	x.Number("wrong or missing consist packets", wrong, x.Rig.Now())
}
