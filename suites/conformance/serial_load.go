package conformance

import (
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// How often a stop is given behind commands back to back, to how many locomotives: each gets a speed and a function, which no
// later command replaces, so that they fill the station's queue and then what it has for its input. Our own choice.
const (
	bursts    = 8
	burstSpan = 12
)

// notLost is how late a stop may be here: that it comes in time is OPS-009's matter. Our own choice.
const notLost = 2 * time.Second

// The dialect says how many commands may be unanswered at a time, so a station that loses one of so many breaks its own word.
// The stop comes last, right behind the others: where it is lost, a locomotive runs on that somebody wanted to stop. Of a station that has
// no command for a stop of all, it is one of the last locomotive; of one that has neither, speed 0 of it.
func commandsBackToBack(x *examination.Check) {
	x.RunTrack(station.Main)
	locomotives := x.SomeLocomotives(burstSpan)
	var commands []station.Command
	for i, address := range locomotives {
		commands = append(commands, station.SetSpeedCommand(address, x.Steps(), dcc.Forward, 1+i))
		if x.File.Claims.Functions.Contains(0) {
			commands = append(commands, station.SetFunctionCommand(address, 0, i%2 == 0))
		}
	}
	last := locomotives[len(locomotives)-1]
	stop, seen := station.StopAllCommand(), stopsAll(locomotives)
	if !x.Station.Can(stop) {
		stop, seen = station.StopCommand(last), stopsAll([]dcc.Address{last})
	}
	if !x.Station.Can(stop) {
		stop, seen = station.SetSpeedCommand(last, x.Steps(), dcc.Forward, 0), standing(last)
	}
	commands = append(commands, stop)
	defer func() {
		for _, address := range locomotives {
			if err := x.Station.Release(x.Context(), address); err != nil {
				x.Note("release of locomotive %v: %v", address, err)
				return
			}
		}
	}()
	lost, unanswered, at := 0, 0, x.Rig.Now()
	for range bursts {
		w := x.Watch(station.Main)
		report, err := x.Station.Send(x.Context(), commands...)
		x.Obeyed("commands back to back, then a stop", err)
		if _, came := x.Await(w, w.Begun, notLost, seen); !came {
			lost++
			at = report.HandedOver
			x.Wrong("stop behind commands back to back", fmt.Sprintf("a packet that does it, of %q", stop.Words()), "none", report.HandedOver)
		}
		w.Stop()
		unanswered += report.Lost
		if report.Lost > 0 && unanswered == report.Lost {
			x.Wrong("commands back to back", "an answer to each", fmt.Sprintf("%d of %d not answered", report.Lost, report.Sent), report.HandedOver)
		}
		if report.Refused > 0 {
			x.Note("%d of %d commands refused", report.Refused, report.Sent)
		}
	}
	x.Number("commands that are not answered", unanswered, at)
	x.Number("stops that never reached the track", lost, at)
}

// standing finds the packet that gives a locomotive speed 0.
func standing(a dcc.Address) func(harness.Heard) bool {
	return func(h harness.Heard) bool {
		told, ok := h.Meaning.(dcc.Speed)
		return ok && told.Address == a && told.Step == 0
	}
}
