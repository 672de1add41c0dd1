package conformance

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.2.1 C, function group one.
func functions0To4(x *examination.Check) { everyFunction(x, 0, 4) }

// S-9.2.1 C, function group two.
func functions5To12(x *examination.Check) { everyFunction(x, 5, 12) }

// S-9.2.1 C, feature expansion.
func functions13To28(x *examination.Check) { everyFunction(x, 13, 28) }

// everyFunction switches the functions on one after another, then off in the same order, so that at each step the others
// of the group are a pattern that shows a bit out of place.
func everyFunction(x *examination.Check, first, last int) {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	address := x.Locomotives(1)[0]
	wrong := 0
	states := map[dcc.FunctionGroup]uint8{}
	for _, on := range []bool{true, false} {
		for function := first; function <= last; function++ {
			group, bit, err := dcc.GroupOf(function)
			x.Fitted("find the group of a function", err)
			states[group] &^= 1 << bit
			if on {
				states[group] |= 1 << bit
			}
			want := dcc.Functions{Address: address, Group: group, States: states[group]}
			if !x.Carries(w, want, func() error {
				return x.Station.SetFunction(x.Context(), address, function, on)
			}) {
				wrong++
			}
		}
	}
	x.Number("wrong or missing function packets", wrong, x.Rig.Now())
}
