package shortcircuit

import (
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// declaresTrip ends the check of a station that does not say at what current, and how soon, it cuts a track: there is nothing to hold
// it to, and nobody knows how long a short would have to lie.
func declaresTrip(x *examination.Check, track station.Track) {
	switch o := x.File.Declares.Track(track); {
	case o.TripCurrent == 0:
		x.NotClaimed("the station does not declare trip_current of the %s track", track)
	case o.TripTime == 0:
		x.NotClaimed("the station does not declare trip_time of the %s track", track)
	}
}

// declaresRecovery ends the check of a station that does not say how a track comes back after a trip.
func declaresRecovery(x *examination.Check, track station.Track) {
	declaresTrip(x, track)
	if x.File.Declares.Track(track).Recovery == "" {
		x.NotClaimed("the station does not declare recovery of the %s track", track)
	}
}
