package conformance

import (
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// powerUpTime leaves room for 30 packets of the power-up sequence and some of what follows.
const powerUpTime = time.Second

// RP-9.2.4 A: a station that knows nothing of what was before sends 20 resets, then 10 idles, before any instruction.
// A locomotive is given a speed before the track has power, so that there is an instruction to wait for.
func powerUp(x *examination.Check) {
	w := x.Watch(station.Main)
	x.Fitted("cut the station's supply", x.Restart(x.Context()))
	_, err := x.Station.Identify(x.Context())
	x.Obeyed("answer after a start", err)
	x.Drive(x.Locomotives(1)[0], 10, dcc.Forward)
	x.PowerOn(station.Main)
	x.Wait(powerUpTime)
	w.Stop()
	if len(w.Packets) == 0 {
		x.Inconclusive("no packet on the track within %v of power on", powerUpTime)
	}
	rest := w.Packets
	resets := leading(&rest, func(i dcc.Instruction) bool { reset, ok := i.(dcc.Reset); return ok && !reset.Hard })
	idles := leading(&rest, func(i dcc.Instruction) bool { return i == dcc.Instruction(dcc.Idle{}) })
	if len(rest) > 0 {
		x.Note("first other packet: %v", rest[0].Meaning)
	}
	x.Number("reset packets first", resets, w.Packets[0].Start)
	x.Number("idle packets after them", idles, w.Packets[min(resets, len(w.Packets)-1)].Start)
}

// leading counts the valid packets at the head of the list that are of a kind, and takes them off.
func leading(packets *[]harness.Heard, kind func(dcc.Instruction) bool) int {
	n := 0
	for n < len(*packets) && (*packets)[n].Fault == signal.None && kind((*packets)[n].Meaning) {
		n++
	}
	*packets = (*packets)[n:]
	return n
}
