package conformance

import (
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// accessoryNumbers has the corners of every part of the address: the pairs of one decoder, the carry into the next
// decoder, the steps of the six low and the three inverted high bits (S-9.2.1 D), and the ends.
var accessoryNumbers = []int{1, 2, 3, 4, 5, 6, 121, 252, 253, 254, 310, 508, 509, 1020, 1021, 1789, 2040, 2044}

// S-9.2.1 D: basic accessory packets.
func accessoryOutputs(x *examination.Check) {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	wrong, tried := 0, 0
	for _, number := range accessoryNumbers {
		if !x.File.Claims.Accessories.Contains(number) {
			continue
		}
		for _, output := range []int{1, 0} {
			tried++
			want, err := x.File.Claims.Numbering.Accessory(number, output, true)
			x.Fitted("find the address of an accessory", err)
			if !x.Carries(w, want, func() error { return x.Station.SetAccessory(x.Context(), number, output) }) {
				wrong++
			}
		}
	}
	if tried == 0 {
		x.Inconclusive("none of the accessories %v is claimed", accessoryNumbers)
	}
	x.Number("wrong or missing accessory packets", wrong, x.Rig.Now())
}

// S-9.2.1 D: extended accessory packets. Each of the five bits of the aspect that the 2012 text has, and all of them.
func aspects(x *examination.Check) {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	wrong, tried := 0, 0
	for _, number := range accessoryNumbers {
		if !x.File.Claims.Aspects.Contains(number) {
			continue
		}
		for _, aspect := range []byte{0, 1, 2, 4, 8, 16, 31} {
			if !x.File.Claims.AspectValues.Contains(int(aspect)) {
				continue
			}
			tried++
			want, err := x.File.Claims.Numbering.Aspect(number, aspect)
			x.Fitted("find the address of a signal", err)
			if !x.Carries(w, want, func() error { return x.Station.SetAspect(x.Context(), number, int(aspect)) }) {
				wrong++
			}
		}
	}
	if tried == 0 {
		x.Inconclusive("none of the signals %v is claimed", accessoryNumbers)
	}
	x.Number("wrong or missing accessory packets", wrong, x.Rig.Now())
}
