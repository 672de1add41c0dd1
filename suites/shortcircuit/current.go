package shortcircuit

import (
	"errors"
	"fmt"
	"math"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"

	"periph.io/x/conn/v3/physic"
)

// settleTime lets the average of a station's current sensing settle.
const settleTime = 500 * time.Millisecond

// The current that the station reports is compared with what the probe measures, at a few loads up to the one that
// must not trip.
func reportedCurrent(x *examination.Check) {
	running(x, x.Track)
	track := x.Rig.Track(x.Track)
	var off verdict.Spread
	var largest physic.ElectricCurrent
	fewest := math.MaxInt
	for _, part := range []physic.ElectricCurrent{0, 25, 50, 90} { // percent of the no-trip current
		x.Fitted("load the track", track.Load(x.File.Declares.Track(x.Track).NoTripCurrent*part/100))
		x.Wait(settleTime)
		w := x.Watch(x.Track)
		x.Wait(100 * time.Millisecond)
		w.Stop()
		reported, err := x.Station.Current(x.Context(), x.Track)
		if errors.Is(err, station.ErrNotSupported) {
			x.Fitted("take the load off", track.Load(0))
			x.NotClaimed("the station does not tell the current: %v", err)
		}
		x.Obeyed("ask for the current", err)
		var meter current.Meter
		meter.Samples(x.Carrying(w))
		if meter.Count() == 0 {
			x.Inconclusive("the probe took no samples")
		}
		measured := meter.Mean()
		largest, fewest = max(largest, measured), min(fewest, int(meter.Count()))
		apart := math.Abs(float64(reported-measured)) / float64(physic.MilliAmpere)
		x.Note("the station reports %v, the probe measures %v", reported, measured)
		off.Add(apart, x.Rig.Now())
		if promised := x.File.Declares.CurrentAccuracy; apart > float64(promised)/float64(physic.MilliAmpere) {
			x.Wrong("reported current", fmt.Sprintf("%v ± %v", measured, promised), reported.String(), x.Rig.Now())
		}
	}
	x.PromisedError("error of the reported current", off, x.File.Declares.CurrentAccuracy, largest, fewest)
}
