package examination

import (
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/verdict"
)

// lookAtRig takes back what a check has found while the rig did not do what it was to: a demand that came too late, a stretch of the
// signal that the probe has lost. Neither a pass nor a failure stands then. A rig that has failed for good makes an error of it.
func (x *Check) lookAtRig() {
	rig, may := x.Rig.(harness.Fallible)
	if !may {
		return
	}
	if err := rig.Fault(); err != nil {
		x.Worsen(verdict.Error, err.Error())
		return
	}
	m := rig.Mishaps().Since(x.mishaps).And(x.inherited)
	grave := m
	grave.HeldUp = 0
	if reason := fmt.Sprintf("the rig was at fault: %s", m); grave != (harness.Mishaps{}) {
		x.unsure(reason)
	} else if m.HeldUp > 0 && x.Result.Verdict.Outside() && !x.firm {
		x.unsure(reason)
	}
	lost := time.Duration(0)
	for _, w := range x.looked() {
		lost += w.LostTime
	}
	if lost > 0 {
		x.unsure(fmt.Sprintf("the probe lost %v of the signal that was looked at", lost))
	}
}

// looked are all watches that the check judges by.
func (x *Check) looked() []*harness.Watch {
	all := x.watches[:len(x.watches):len(x.watches)]
	for _, w := range x.judged {
		known := false
		for _, other := range x.watches {
			known = known || w == other
		}
		if !known {
			all = append(all, w)
		}
	}
	return all
}

// unsure makes a verdict that the station earned, either way, inconclusive.
func (x *Check) unsure(reason string) {
	x.spoilt = true
	x.Result.Doubt(reason)
	x.Worsen(verdict.Inconclusive, reason)
}

// Spoilt reports whether the rig has spoilt the result: another time it may be a better one. A failure that stands all the same, as a
// restart that nobody asked for, is none: what a check found must not be lost by making it once more.
func (x *Check) Spoilt() bool { return x.spoilt && !x.Result.Verdict.Outside() }

// Shared is harness.Shared for a check: what went wrong at the rig during the exercise makes every check doubtful that looks at
// it, not only the one that had it done.
func Shared[T any](x *Check, name string, exercise func() T) T {
	mishaps, mine := name+", mishaps", false
	result := harness.Shared(x.Session, name, func() T {
		mine = true
		before := x.mishapsNow()
		result := exercise()
		harness.Shared(x.Session, mishaps, func() harness.Mishaps { return x.mishapsNow().Since(before) })
		return result
	})
	if !mine {
		x.inherited = x.inherited.And(harness.Shared(x.Session, mishaps, func() harness.Mishaps { return harness.Mishaps{} }))
	}
	return result
}

// mishapsNow are those of the rig until now; none of one that cannot have any.
func (x *Check) mishapsNow() harness.Mishaps {
	if rig, may := x.Rig.(harness.Fallible); may {
		return rig.Mishaps()
	}
	return harness.Mishaps{}
}
