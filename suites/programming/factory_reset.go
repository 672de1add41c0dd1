package programming

import (
	"errors"
	"fmt"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// factoryRegister and factoryValue are what gives a decoder its factory values: register 8 is written with 8, S-9.2.3 E (July 2012).
const (
	factoryRegister = 8
	factoryValue    = 8
)

// S-9.2.3 E: 01111111 00001000 01110111, in the sequence of the register method. A decoder that is deaf is on the track, as in unanswered. A
// station may well refuse to set a decoder back by the way.
func factoryReset(x *examination.Check) {
	x.FitPersonality("deaf")
	defer x.TakeOff()
	w := x.Watch(station.Programming)
	what := fmt.Sprintf("write %d to CV %d by the register method", factoryValue, factoryRegister)
	err := x.AskToWriteBy(station.Register, factoryRegister, factoryValue)
	w.Stop()
	if refused := (*station.Refused)(nil); errors.As(err, &refused) {
		x.NotClaimed("the station refuses to set a decoder back: %v", err)
	}
	unacknowledged(x, what, err)
	before, own, withRecovery := sequences(w, func(i dcc.Instruction) bool { _, is := i.(dcc.FactoryReset); return is })
	if own.Count == 0 {
		x.Wrong(what, "packets 7f 08 77", "none", x.Rig.Now())
		own.Add(0, x.Rig.Now())
	} else {
		x.SpreadOfCounts("resets before a factory reset", before)
		x.SpreadOfCounts("packets of factory reset and recovery", withRecovery)
	}
	x.SpreadOfCounts("factory reset packets", own)
}
