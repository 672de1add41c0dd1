package conformance

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// atRest is how long stopped locomotives are watched: several rounds over a few of them.
const atRest = 800 * time.Millisecond

// A stop has a direction too (S-9.2 B, figure 2; S-9.2.1 C), and decoders show it by their lights and start off in it: a locomotive
// that was driven in reverse stays in reverse, however it was stopped and whatever repeats it. Only the stops of 28 steps at which
// decoders may ignore the direction say nothing of it. The ways to stop: speed 0, emergency stop of one, emergency stop of all, as
// far as the station has commands for them.
func directionAtStop(x *examination.Check) {
	x.RunTrack(station.Main)
	locomotives := x.SomeLocomotives(4)
	defer x.LetGo(locomotives...)
	// Short and long by turns: one of each forward, one of each in reverse.
	direction := func(i int) dcc.Direction { return bothDirections[i/2%2] }
	turned, heard, at := 0, 0, x.Rig.Now()
	stops := []func(){func() {
		for i, a := range locomotives {
			x.Drive(a, 0, direction(i))
		}
	}}
	if x.Station.Can(station.StopCommand(locomotives[0])) {
		stops = append(stops, func() {
			for _, a := range locomotives {
				x.Obeyed("emergency stop", x.Station.Stop(x.Context(), a))
			}
		})
	}
	if x.Station.Can(station.StopAllCommand()) {
		stops = append(stops, func() { x.Obeyed("emergency stop of all", x.Station.StopAll(x.Context())) })
	}
	for _, stop := range stops {
		for i, a := range locomotives {
			x.Drive(a, 6+i, direction(i))
		}
		x.Wait(x.CommandTime())
		w := x.Watch(station.Main)
		stop()
		x.Wait(x.CommandTime() + atRest)
		w.Stop()
		for _, h := range w.Packets {
			told, ok := h.Meaning.(dcc.Speed)
			if !ok || told.DirectionIgnored {
				continue
			}
			for i, a := range locomotives {
				if told.Address != a {
					continue
				}
				heard++
				if told.Direction != direction(i) {
					turned++
					at = h.Start
					x.Wrong("direction of a locomotive that is stopped", direction(i).String(), told.String(), h.Start)
				}
			}
		}
	}
	if heard == 0 {
		x.Inconclusive("no packet told a stopped locomotive its direction")
	}
	x.Number("packets with another direction", turned, at)
}
