package conformance

import (
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.2.1 C, function group one.
func functions0To4(x *examination.Check) { everyFunction(x, 0, 4) }

// S-9.2.1 C, function group two.
func functions5To12(x *examination.Check) { everyFunction(x, 5, 12) }

// S-9.2.1 C, feature expansion.
func functions13To28(x *examination.Check) { everyFunction(x, 13, 28) }

// RCN-212, from memory: the codes after those of S-9.2.1 (July 2012), which has them reserved.
func functions29To68(x *examination.Check) { everyFunction(x, 29, 68) }

// everyFunction switches the claimed functions of first to last on, then off.
func everyFunction(x *examination.Check, first, last int) {
	x.RunTrack(station.Main)
	address := x.Locomotives(1)[0]
	defer x.LetGo(address)
	functions := claimedFunctions(x.File.Claims.Functions, first, last)
	switchAll(x, address, functions, func(int) bool { return false })
	w := x.Watch(station.Main)
	wrong := x.CarryAll(w, functionTable(address, functions), 1, false)
	x.Number("wrong or missing function packets", wrong, x.Rig.Now())
}

// switchAll tells each of the functions what it is to be, and waits until the track has it.
func switchAll(x *examination.Check, address dcc.Address, functions []int, on func(int) bool) functionStates {
	states := functionStates{}
	var commands []station.Command
	for _, f := range functions {
		commands = append(commands, states.after(address, f, on(f)).Command)
	}
	x.GiveAll(commands...)
	x.Wait(x.CommandTime())
	return states
}

// knownFunctions is the highest function of which the codes were read in the standard, and not written from memory: S-9.2.1 C (July
// 2012). What is a MUST looks no further.
const knownFunctions = 28

// otherGroups looks at everything that a locomotive's functions are told while one of each group is switched on and off: the
// functions of all groups are one state, and a change of one may not touch another (S-9.2.1 C: each group says all of its
// own functions).
func otherGroups(x *examination.Check) {
	x.RunTrack(station.Main)
	address := x.Locomotives(1)[0]
	defer x.LetGo(address)
	functions := claimedFunctions(x.File.Claims.Functions, 0, knownFunctions)
	states := switchAll(x, address, functions, func(f int) bool {
		g, _, _ := dcc.GroupOf(f)
		return (f-g.First())%2 == 1
	})
	before := functionStates{} // of the group that was switched last: a repetition of it may still be on its way
	w := x.Watch(station.Main)
	wrong, unasked := 0, 0
	at := x.Rig.Now()
	for _, f := range firstOfGroups(functions) {
		g, _, _ := dcc.GroupOf(f)
		for _, on := range []bool{true, false} {
			from := x.Now()
			before[g] = states[g]
			wrong += x.CarryAll(w, []order{states.after(address, f, on)}, 1, false)
			if n, first := untrue(x, w.After(from), address, states, before); n > 0 {
				unasked += n
				at = first
			}
		}
	}
	x.Number("wrong or missing function packets", wrong, x.Rig.Now())
	x.Number("packets with a function as nobody has set it", unasked, at)
	off := func(int) bool { return false }
	switchAll(x, address, functions, off)
}

// untrue counts function packets to an address that say what it was neither told last nor just before.
func untrue(x *examination.Check, packets []harness.Heard, address dcc.Address, now, before functionStates) (n int, at time.Duration) {
	for _, h := range packets {
		told, ok := h.Meaning.(dcc.Functions)
		if !ok || h.Fault != signal.None || told.Address != address {
			continue
		}
		want, set := now[told.Group]
		earlier, changed := before[told.Group]
		if !set || told.States == want || changed && told.States == earlier {
			continue
		}
		if n++; n == 1 {
			at = h.Start
		}
		x.Wrong("functions that nobody has changed",
			dcc.Functions{Address: address, Group: told.Group, States: want}.String(), told.String(), h.Start)
	}
	return n, at
}
