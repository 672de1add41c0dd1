package conformance

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.2 B, S-9.2.1 A: one address byte, 1 to 127. Every one of them that is claimed.
func shortAddresses(x *examination.Check) {
	reaches(x, shortWalk(x.File.Claims.ShortAddresses))
}

// S-9.2.1 C: two address bytes. All at which the first byte changes, and a walk between them.
func longAddresses(x *examination.Check) {
	reaches(x, longWalk(x.File.Claims.LongAddresses))
}

// reaches drives locomotives a few at a time and gives them back again, since a station's list of them may be short.
func reaches(x *examination.Check, addresses []dcc.Address) {
	x.Empty(x.LocomotivesUpTo(burstSpan)...) // of whichever other checks have left them in the list
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	wrong := x.CarryAll(w, addressTable(addresses, x.Steps()), x.Together(), true)
	x.Empty() // where they could not be given back one by one
	x.Number("wrong or missing packets", wrong, x.Rig.Now())
	x.Note("%d addresses from %d to %d", len(addresses), addresses[0].Number, addresses[len(addresses)-1].Number)
}
