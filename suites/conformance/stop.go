package conformance

import (
	"slices"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
	"bufferstop/suites/examination"
)

// afterStop is how long the track is watched for a packet that drives a stopped locomotive on.
const afterStop = time.Second

// S-9.2 B and S-9.2.1 C: emergency stop in the speed instruction of one locomotive. A second one runs on.
func stopOne(x *examination.Check) {
	locomotives := x.Locomotives(2)
	stopped := locomotives[0]
	stops(x, locomotives,
		func() error { return x.Station.Stop(x.Context(), stopped) },
		func(h harness.Heard) bool {
			speed, ok := h.Meaning.(dcc.Speed)
			return ok && speed.Address == stopped && speed.Emergency
		},
		func(h harness.Heard) bool {
			speed, ok := h.Meaning.(dcc.Speed)
			return ok && speed.Address == stopped && speed.Step > 0
		},
		"packets that drive it on")
}

// S-9.2 B: broadcast stop, which is optional for a station; or an emergency stop in the speed instruction of address 0,
// which all decoders obey (S-9.2.1 B); or one for each locomotive, of which the last counts.
func stopAll(x *examination.Check) {
	locomotives := x.Locomotives(3)
	stops(x, locomotives,
		func() error { return x.Station.StopAll(x.Context()) },
		stopsAll(locomotives),
		func(h harness.Heard) bool {
			speed, ok := h.Meaning.(dcc.Speed)
			return ok && speed.Step > 0
		},
		"packets that drive on")
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

func stops(x *examination.Check, locomotives []dcc.Address, command func() error, isStop, drives func(harness.Heard) bool, after string) {
	x.RunTrack(station.Main)
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
	x.Promise("command to end of packet", stop.End-given, promised, stop.End, x.Budget(uncertainty.CommandTime))
	x.Wait(afterStop)
	w.Stop()
	driven, at := 0, stop.End
	for _, h := range w.After(stop.End) {
		if drives(h) {
			driven++
			at = h.Start
			x.Wrong("after the emergency stop", "no packet that drives on", h.Meaning.String(), h.Start)
		}
	}
	x.Number(after, driven, at)
}
