package conformance

import (
	"errors"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// afterRelease is how long a released locomotive is watched: many rounds of refresh.
const afterRelease = 2 * time.Second

// Release gives a locomotive back: the station stops refreshing it. A second one goes on, so that there is a refresh to
// be left out of.
func release(x *examination.Check) {
	x.RunTrack(station.Main)
	locomotives := x.Locomotives(2)
	for _, address := range locomotives {
		x.Drive(address, 7, dcc.Forward)
	}
	x.Wait(x.CommandTime())
	err := x.Station.Release(x.Context(), locomotives[0])
	if errors.Is(err, station.ErrNotSupported) {
		x.NotClaimed("the station has no command that releases a locomotive: %v", err)
	}
	x.Obeyed("release a locomotive", err)
	x.Wait(x.CommandTime())
	w := x.Watch(station.Main)
	x.Wait(afterRelease)
	w.Stop()
	late, others := 0, 0
	at := x.Rig.Now()
	for _, h := range w.Packets {
		switch {
		case h.To(locomotives[0]):
			late++
			at = h.Start
			x.Wrong("after the release", "no packet to the locomotive", h.Meaning.String(), h.Start)
		case h.To(locomotives[1]):
			others++
		}
	}
	if others == 0 {
		x.Inconclusive("the locomotive that was not released got no packet either")
	}
	x.Number("packets after release", late, at)
}
