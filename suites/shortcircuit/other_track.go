package shortcircuit

import (
	"fmt"

	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// A short on the other track leaves this one as it was, all the while until it is cut and for some retries.
func otherTrack(x *examination.Check) {
	other := station.Programming
	if x.Track == station.Programming {
		other = station.Main
	}
	if !x.File.Claims.Track(other) {
		x.NotClaimed("the station does not claim the %s track, which would be shorted", other)
	}
	if x.Rig.Track(other) == nil {
		x.NotFitted("the rig does not reach the %s track, which would be shorted", other)
	}
	declaresTrip(x, other)
	running(x, x.Track)
	running(x, other)
	w := x.Watch(x.Track)
	x.Fitted("lay a short", x.Rig.Track(other).Short(deadShort))
	x.Wait(x.File.Declares.Track(other).TripTime*patience + 2*x.File.Declares.Track(other).RetryAfter)
	w.Stop()
	disturbed := 0
	at := x.Rig.Now()
	for _, u := range x.Disturbed(w) {
		disturbed++
		at = u.Start
		x.Wrong("the track beside a short", "packets as before", fmt.Sprintf("%s for %v", u.Reason, u.End-u.Start), u.Start)
	}
	x.Number("off states and torn packets", disturbed, at)
	x.SpreadOfTimes("start to start", examination.Intervals(w))
}
