package conformance

import (
	"iter"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// The main track is watched with nothing to say, then with traffic: some 450 packets each, within what a tape holds.
const (
	idleTime    = 3 * time.Second
	trafficTime = 4 * time.Second
)

// onMain is the name of the exercise.
const onMain = "traffic on the main track"

// Traffic yields the watches that the session's checks set on ordinary traffic, the main track first.
func Traffic(s *harness.Session) iter.Seq2[station.Track, *harness.Watch] {
	return func(yield func(station.Track, *harness.Watch) bool) {
		for _, t := range []struct {
			track station.Track
			name  string
		}{{station.Main, onMain}, {station.Programming, examination.ServiceTrafficName}} {
			if w, done := harness.Done[*harness.Watch](s, t.name); done && !yield(t.track, w) {
				return
			}
		}
	}
}

// OrdinaryTraffic has ordinary traffic made on the check's track, once for all.
func OrdinaryTraffic(x *examination.Check) { traffic(x) }

// traffic returns a watch on the check's track under ordinary traffic, made once for all the requirements that measure
// it.
func traffic(x *examination.Check) *harness.Watch {
	if x.Track == station.Programming {
		return x.ServiceTraffic()
	}
	return x.Look(examination.Shared(x, onMain, func() *harness.Watch { return mainTraffic(x) }))
}

// mainTraffic lets the station idle, then has every kind of packet sent that it claims, with a few locomotives in refresh.
func mainTraffic(x *examination.Check) *harness.Watch {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	x.Wait(idleTime)
	locomotives := x.LocomotivesUpTo(4)
	for i, address := range locomotives {
		x.Drive(address, 5+i, dcc.Direction(i%2))
		for _, function := range []int{0, 5, 9, 13, 21} {
			if x.File.Claims.Functions.Contains(function) {
				x.Obeyed("switch a function", x.Station.SetFunction(x.Context(), address, function, true))
			}
		}
	}
	if accessories := x.File.Claims.Accessories; accessories.Claimed {
		x.Obeyed("switch an accessory", x.Station.SetAccessory(x.Context(), accessories.First, 1))
	}
	if x.File.Claims.ProgrammingOnMain && len(locomotives) > 0 {
		address := locomotives[len(locomotives)-1]
		x.Obeyed("write a CV on the main", x.Station.WriteOnMain(x.Context(), address, 3, 10))
	}
	x.Wait(trafficTime)
	w.Stop()
	return w
}
