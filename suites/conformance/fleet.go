package conformance

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// busy is how many locomotives count as a station that has something to do: the standards name no number, and ten is what the
// matter is usually tried with (common practice, no source).
const busy = 10

// rateTime is how long the stream is watched with each number of locomotives: some 300 packets.
const rateTime = 2500 * time.Millisecond

// startToStart is what is judged of a stream: S-9.2 C (July 2004).
const startToStart = "start to start"

func rateWithNone(x *examination.Check) { rateWith(x, 0) }
func rateWithOne(x *examination.Check)  { rateWith(x, 1) }

func rateWithTen(x *examination.Check) {
	if most := x.File.Declares.ActiveLocomotives; most > 0 && most < busy {
		x.NotClaimed("the station declares fewer than ten active_locomotives")
		return
	}
	rateWith(x, busy)
}

// rateWith judges the intervals of packets with so many locomotives under control.
func rateWith(x *examination.Check, n int) {
	x.RunTrack(station.Main)
	addresses := fleet(x, n)
	defer x.LetGo(addresses...)
	w := x.Watch(station.Main)
	x.Wait(rateTime)
	w.Stop()
	x.SpreadOfTimes(startToStart, examination.Intervals(w))
}

// fleet puts so many locomotives under control, and no others that the suite has put there.
func fleet(x *examination.Check, n int) []dcc.Address {
	x.LetGo(x.LocomotivesUpTo(burstSpan)...)
	addresses := x.Locomotives(n)
	var commands []station.Command
	for i, a := range addresses {
		commands = append(commands, station.SetSpeedCommand(a, x.Steps(), bothDirections[i%2], 3+i%20))
	}
	if n > 0 {
		x.GiveAll(commands...)
	}
	x.Wait(x.CommandTime())
	return addresses
}

// As many locomotives as the station declares that it controls at a time: the stream may not falter, and none may be missing
// from it.
func rateWithMost(x *examination.Check) {
	most := x.File.Declares.ActiveLocomotives
	if most == 0 {
		x.NotClaimed("the station does not declare active_locomotives")
		return
	}
	x.RunTrack(station.Main)
	addresses := fleet(x, most)
	defer x.LetGo(addresses...)
	w := x.Watch(station.Main)
	x.Wait(max(rateTime, 2*x.File.Declares.RefreshTime))
	w.Stop()
	x.SpreadOfTimes(startToStart, examination.Intervals(w))
	heard := 0
	for _, a := range addresses {
		for _, h := range w.Packets {
			if h.To(a) {
				heard++
				break
			}
		}
	}
	x.PromisedNumber("locomotives that get packets", heard, most, w.Ended)
}

// fairTime is how long the refresh is watched: dozens of rounds.
const fairTime = 4 * time.Second

// S-9.2 C asks for repetition as often as possible and has no figure. All locomotives here were told the same just now, so none
// has a claim to be told again sooner: the longest wait of each is compared with the mean of these.
func fairness(x *examination.Check) {
	x.RunTrack(station.Main)
	n := len(x.LocomotivesUpTo(busy))
	if n < 2 {
		x.NotClaimed("the station controls fewer than two locomotives")
		return
	}
	addresses := fleet(x, n)
	defer x.LetGo(addresses...)
	w := x.Watch(station.Main)
	x.Wait(fairTime)
	w.Stop()
	var longest verdict.Spread
	for _, a := range addresses {
		wait, at, last := time.Duration(0), w.Begun, w.Begun
		add := func(until time.Duration) {
			if until-last > wait {
				wait, at = until-last, last
			}
			last = until
		}
		for _, h := range w.Packets {
			if h.To(a) {
				add(h.End)
			}
		}
		add(w.Ended)
		longest.Add(float64(wait), at)
	}
	x.Part("longest wait of a locomotive, of the mean of their longest waits", longest.Max/longest.Mean, longest.MaxAt)
}

// highFunctionTime is how long repetitions of a function are waited for where no refresh time is declared.
const highFunctionTime = 2 * time.Second

// S-9.2.1 C: who does not refresh F13 to F28 repeats a change of them. Two packets are the least that can be meant: the text
// has "two repetitions", which may also be three packets.
func highFunctions(x *examination.Check) {
	x.RunTrack(station.Main)
	address := x.Locomotives(1)[0]
	defer x.LetGo(address)
	w := x.Watch(station.Main)
	var packets verdict.Spread
	for _, f := range firstOfGroups(claimedFunctions(x.File.Claims.Functions, 13, 28)) {
		group, _, _ := dcc.GroupOf(f)
		for _, on := range []bool{true, false} {
			x.Wait(x.CommandTime()) // what came of the command before
			given := x.Now()
			x.Obeyed("switch a function", x.Station.SetFunction(x.Context(), address, f, on))
			n := 0
			x.Await(w, given, max(x.CommandTime(), x.File.Declares.RefreshTime, highFunctionTime), func(h heard) bool {
				if told, ok := h.Meaning.(dcc.Functions); ok && told.Address == address && told.Group == group {
					n++
				}
				return n >= 2
			})
			packets.Add(float64(n), given)
		}
	}
	x.SpreadOfCounts("packets after a change", packets)
}
