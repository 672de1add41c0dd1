package conformance

import (
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// heard is a packet of a watch.
type heard = harness.Heard

// delays is how many commands are timed: the slowest two of them are beyond 95 of 100. Our own choice.
const delays = 40

// phases is how many different pauses there are between commands, so that they meet the packets that go on meanwhile in every place,
// and phase by how much they differ: 7 × 5 ms is longer than any packet of six bytes with ones of 61 µs and usual zeros. Our own
// choice.
const (
	phases = 7
	phase  = 5 * time.Millisecond
)

// latencyIdle times speed commands to the only locomotive under control.
func latencyIdle(x *examination.Check) {
	x.RunTrack(station.Main)
	addresses := fleet(x, 1)
	defer x.LetGo(addresses...)
	d := x.File.Declares.Idle
	x.Latency(timed(x, addresses, 0), d.P50, d.P95, d.Max)
}

// behind is how many commands to others stand before the one that is timed. Our own choice: as many as a few hands on their
// controllers bring about.
const behind = 3

// latencyLoaded times them with ten locomotives under control, right behind commands to others.
func latencyLoaded(x *examination.Check) {
	x.RunTrack(station.Main)
	n := len(x.SomeLocomotives(busy))
	addresses := fleet(x, n)
	defer x.LetGo(addresses...)
	d := x.File.Declares.Loaded
	x.Latency(timed(x, addresses, min(behind, n-1)), d.P50, d.P95, d.Max)
}

// timed gives speed commands to the locomotives by turns, each right behind so many commands to others, and takes the time from
// its last byte on the link to the end of its packet on the track. One that does not come at all counts with the time that was
// waited for it.
func timed(x *examination.Check, addresses []dcc.Address, behind int) (all []examination.Delay) {
	w := x.Watch(station.Main)
	for i := range delays {
		x.Wait(time.Duration(i%phases) * phase)
		at := func(place int) dcc.Address { return addresses[place%len(addresses)] }
		order := func(place int) order { return speedOrder(at(place), x.Steps(), bothDirections[i%2], 5+i%20) }
		var commands []station.Command
		for other := range behind {
			commands = append(commands, order(i*(behind+1)+other).Command)
		}
		last := order(i*(behind+1) + behind)
		given := x.Now()
		if behind > 0 {
			x.GiveAll(commands...)
			given = x.Now()
		}
		x.Obeyed("drive a locomotive", x.Station.Do(x.Context(), last.Command))
		if over := x.Station.LastExchange().HandedOver; over > given {
			given = over
		}
		h, seen := x.Await(w, given, 5*x.CommandTime(), func(h heard) bool { return h.Meaning == last.Want })
		if !seen {
			x.Wrong("packet for a command", last.Want.String(), "none", given)
			h.End = x.Rig.Now()
		}
		all = append(all, examination.Delay{Took: h.End - given, At: h.End})
	}
	return all
}
