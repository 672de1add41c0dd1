package conformance

import (
	"fmt"

	"bufferstop/fakedecoder"
	"bufferstop/harness/verdict"
	"bufferstop/harness/voltage"
	"bufferstop/suites/examination"

	"periph.io/x/conn/v3/physic"
)

// crossings is how many changes of polarity are looked at under each load: a few packets' worth of each direction. Our own choice.
const crossings = 64

// S-9.1 B: the shape of the signal is that at the output from no load to the most that flows continuously. underLoads measures
// changes of polarity with nothing on the track, with a decoder, and near the most that the station declares to bear.
func underLoads(x *examination.Check, judge func(load string, all []voltage.Crossing)) {
	track := x.Rig.Track(x.Track)
	x.RunTrack(x.Track)
	measure := func(load string) {
		x.Wait(settling)
		judge(load, x.Crossings(crossings))
	}
	measure("no load")
	_, err := track.Fit(fakedecoder.Default())
	x.Fitted("fit a fake decoder", err)
	measure("one decoder")
	x.Fitted("take the decoder off", track.Open())
	near := nearFullLoad(x)
	if near == 0 {
		x.Note("the station does not declare no_trip_current of the %s track: not measured near it", x.Track)
		return
	}
	x.Fitted("load the track", track.Load(near))
	measure("near full load")
	x.Fitted("take the load off", track.Load(0))
}

// S-9.1 C: V_DCCp. The settled voltage is what decoders live on and has both bounds; the upper one holds for the peak too, so that of each
// half-bit both count.
func amplitude(x *examination.Check) {
	underLoads(x, func(load string, all []voltage.Crossing) {
		var volts verdict.Spread
		var each [2]verdict.Spread // positive, negative
		for _, c := range all {
			settled := max(c.After, -c.After)
			volts.Add(examination.Millivolts(settled), c.At)
			volts.Add(examination.Millivolts(max(c.Highest, settled)), c.At)
			polarity := 0
			if c.After < 0 {
				polarity = 1
			}
			each[polarity].Add(examination.Millivolts(c.After), c.At)
		}
		x.Note("%s: %s and %s", load, verdict.Millivolts.FormatSigned(each[0].Mean), verdict.Millivolts.FormatSigned(each[1].Mean))
		x.Volts("amplitude, "+load, "amplitude", volts)
	})
}

// S-9.1 B: the slew between -4 V and +4 V, and where the voltage may run back.
func slew(x *examination.Check) {
	underLoads(x, func(load string, all []voltage.Crossing) {
		var slews, back verdict.Spread
		for _, c := range all {
			slews.Add(c.Slew(), c.At)
			back.Add(examination.Millivolts(c.Distortion), c.At)
			if !c.Crossed {
				x.Wrong("the voltage of the "+string(x.Track)+" track", fmt.Sprintf("from -%v to +%v or back", voltage.Band, voltage.Band),
					fmt.Sprintf("from %v to %v in %v", volts(c.Before), volts(c.After), c.Took), c.At)
			}
		}
		x.Slews("slew, "+load, "slew", slews)
		x.Volts("runs back, "+load, "voltage at which a crossing runs back", back)
	})
}

// volts words a voltage.
func volts(v physic.ElectricPotential) string {
	return verdict.Millivolts.Format(examination.Millivolts(v))
}
