package simulated

import "time"

// A nap is how long a flawed firmware leaves a speed command alone, one of every napEvery, with so few locomotives under
// control or so many.
const (
	nap             = 150 * time.Millisecond
	napEvery        = 7
	idleLocomotives = 2
	busyLocomotives = 8
)

// naps reports whether a flawed firmware leaves the present speed command alone for a while.
func (s *firmware) naps() bool {
	f, n := &s.settings.flaws, len(s.scheduler.roster.list)
	if (!f.idleNap || n > idleLocomotives) && (!f.busyNap || n < busyLocomotives) {
		return false
	}
	s.speeds++
	return s.speeds%napEvery == 0
}

// later is an operation that begins after a while.
func (s *firmware) later(d time.Duration, begin func() action) action {
	due := never
	var begun action
	return func(t time.Duration) (result, bool) {
		if due == never {
			due = t + d
		}
		if t < due {
			s.wake(due)
			return result{}, false
		}
		if begun == nil {
			begun = begin()
		}
		return begun(t)
	}
}
