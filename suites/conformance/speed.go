package conformance

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.2 B, figure 2; NEM 671 Table 1: stop and 28 steps, both ways.
func steps28(x *examination.Check) { everyStep(x, dcc.Steps28) }

// S-9.2.1 C: stop and 126 steps, both ways.
func steps128(x *examination.Check) { everyStep(x, dcc.Steps128) }

// everyStep goes through the whole table for short and for long addresses, if both are claimed.
func everyStep(x *examination.Check, steps dcc.Steps) {
	x.RunTrack(station.Main)
	locomotives := x.SomeLocomotives(x.Together())
	defer x.LetGo(locomotives...)
	w := x.Watch(station.Main)
	wrong := x.CarryAll(w, speedTable(steps, locomotives), len(locomotives), false)
	x.Number("wrong or missing speed packets", wrong, x.Rig.Now())
}
