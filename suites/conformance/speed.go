package conformance

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.2 B, figure 2; NEM 671 Table 1: stop and 28 steps, both ways.
func steps28(x *examination.Check) { everyStep(x, dcc.Steps28, 28) }

// S-9.2.1 C: stop and 126 steps, both ways.
func steps128(x *examination.Check) { everyStep(x, dcc.Steps128, 126) }

func everyStep(x *examination.Check, steps dcc.Steps, last int) {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	address := x.Locomotives(1)[0]
	wrong := 0
	for _, direction := range []dcc.Direction{dcc.Forward, dcc.Reverse} {
		for step := range last + 1 {
			want := dcc.Speed{Address: address, Steps: steps, Direction: direction, Step: step}
			if !x.Carries(w, want, func() error {
				return x.Station.SetSpeed(x.Context(), address, steps, direction, step)
			}) {
				wrong++
			}
		}
	}
	x.Number("wrong or missing speed packets", wrong, x.Rig.Now())
}
