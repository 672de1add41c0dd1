package conformance

import (
	"slices"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// afterStop is how long the track is watched for a packet that drives a stopped locomotive on.
const afterStop = time.Second

// S-9.2 B and S-9.2.1 C: emergency stop in the speed instruction of one locomotive, first of the one with the short address, then
// of the one with the long one. The other runs on.
func stopOne(x *examination.Check) {
	x.RunTrack(station.Main)
	locomotives := x.SomeLocomotives(2)
	var took verdict.Spread
	driven, at := 0, x.Rig.Now()
	for _, stopped := range locomotives {
		late, n, when := stops(x, locomotives,
			func() error { return x.Station.Stop(x.Context(), stopped) },
			func(h harness.Heard) bool {
				speed, ok := h.Meaning.(dcc.Speed)
				return ok && speed.Address == stopped && speed.Emergency
			},
			func(h harness.Heard) bool {
				speed, ok := h.Meaning.(dcc.Speed)
				return ok && speed.Address == stopped && speed.Step > 0
			})
		took.Add(float64(late.Took), late.At)
		if driven += n; n > 0 {
			at = when
		}
	}
	x.Promise("command to end of packet", time.Duration(took.Max), x.File.Declares.StopLatency, took.MaxAt, x.Budget(uncertainty.CommandTime))
	x.Number("packets that drive it on", driven, at)
}

// S-9.2 B: broadcast stop, which is optional for a station; or an emergency stop in the speed instruction of address 0,
// which all decoders obey (S-9.2.1 B); or one for each locomotive, of which the last counts.
func stopAll(x *examination.Check) {
	x.RunTrack(station.Main)
	locomotives := x.SomeLocomotives(3)
	late, driven, at := stops(x, locomotives,
		func() error { return x.Station.StopAll(x.Context()) },
		stopsAll(locomotives),
		func(h harness.Heard) bool {
			speed, ok := h.Meaning.(dcc.Speed)
			return ok && speed.Step > 0
		})
	x.Promise("command to end of packet", late.Took, x.File.Declares.StopLatency, late.At, x.Budget(uncertainty.CommandTime))
	x.Number("packets that drive on", driven, at)
}

// stopsAll returns what finds the packet with which all the locomotives are stopped.
func stopsAll(locomotives []dcc.Address) func(harness.Heard) bool {
	stopped := map[dcc.Address]bool{}
	return func(h harness.Heard) bool {
		switch told := h.Meaning.(type) {
		case dcc.BroadcastStop:
			return told.Immediate
		case dcc.Speed:
			if told.Emergency {
				stopped[told.Address] = true
			}
			return stopped[dcc.Broadcast] || !slices.ContainsFunc(locomotives, func(a dcc.Address) bool { return !stopped[a] })
		}
		return false
	}
}

// stops drives locomotives and gives a command that stops one or all. It returns how long that took to the track, and how many
// packets drove on what was stopped, the last of them at a time.
func stops(x *examination.Check, locomotives []dcc.Address, command func() error, isStop, drives func(harness.Heard) bool) (
	late examination.Delay, driven int, at time.Duration) {
	for _, address := range locomotives {
		x.Drive(address, 20, dcc.Forward)
	}
	x.Wait(x.CommandTime())
	w := x.Watch(station.Main)
	given := x.Now()
	x.Obeyed("emergency stop", command())
	promised := x.File.Declares.StopLatency
	stop, seen := x.Await(w, given, max(3*promised, x.CommandTime()), isStop)
	if !seen {
		x.Wrong("emergency stop on the track", "an emergency stop packet", "none", given)
		stop.End = x.Rig.Now()
	}
	x.Wait(afterStop)
	w.Stop()
	at = stop.End
	for _, h := range w.After(stop.End) {
		if drives(h) {
			driven++
			at = h.Start
			x.Wrong("after the emergency stop", "no packet that drives on", h.Meaning.String(), h.Start)
		}
	}
	return examination.Delay{Took: stop.End - given, At: stop.End}, driven, at
}
