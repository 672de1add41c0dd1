package conformance

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.2 B, S-9.2.1 A: one address byte, 1 to 127. The corners, and 3, the factory setting of decoders (S-9.2.2, CV1).
func shortAddresses(x *examination.Check) {
	reaches(x, dcc.Short, x.File.Claims.ShortAddresses, 1, 3, 127)
}

// S-9.2.1 C: two address bytes. The first long address that no short one can be (by common practice), one with an
// uneven split over both bytes, and the last.
func longAddresses(x *examination.Check) {
	reaches(x, dcc.Long, x.File.Claims.LongAddresses, 128, 1000, 10239)
}

func reaches(x *examination.Check, kind func(uint16) dcc.Address, claimed station.Range, numbers ...int) {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	wrong, tried := 0, 0
	for _, number := range numbers {
		if !claimed.Contains(number) {
			x.Note("address %d is not claimed", number)
			continue
		}
		tried++
		address := kind(uint16(number))
		steps := x.Steps()
		want := dcc.Speed{Address: address, Steps: steps, Direction: dcc.Forward, Step: 9}
		if !x.Carries(w, want, func() error {
			return x.Station.SetSpeed(x.Context(), address, steps, dcc.Forward, 9)
		}) {
			wrong++
		}
	}
	if tried == 0 {
		x.Inconclusive("none of the addresses %v is claimed", numbers)
	}
	x.Number("wrong or missing packets", wrong, x.Rig.Now())
}
