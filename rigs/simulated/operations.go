package simulated

import (
	"time"

	"bufferstop/harness/station"
)

// Version is what the simulated station reports as its firmware's.
const Version = "1.0"

// The operations of the station are methods of its firmware with typed values, whatever language they are asked for in.
// They check what they are given, begin at once, and return an action.

// An action is an operation under way. The main loop goes on with it at each of its turns until it has ended; whoever it
// waits for wakes the main loop.
type action func(t time.Duration) (r result, ended bool)

// result is how an operation ended. With noError, value is what was asked for: a CV, milliamperes, a powerState, or 1 for
// true and 0 for false.
type result struct {
	code  errorCode
	value int
}

// fails is an operation that has ended with a code; noError says that it was done.
func fails(c errorCode) action {
	return func(time.Duration) (result, bool) { return result{code: c}, true }
}

// done is an operation that has ended well.
func done() action { return fails(noError) }

// gives is a query that has been answered.
func gives(value int) action {
	return func(time.Duration) (result, bool) { return result{value: value}, true }
}

// when is an operation that has ended well when a condition holds.
func when(condition func() bool, value int) action {
	return func(time.Duration) (result, bool) { return result{value: value}, condition() }
}

// first returns the first code that is an error.
func first(codes ...errorCode) errorCode {
	for _, c := range codes {
		if c != noError {
			return c
		}
	}
	return noError
}

// within checks a number.
func within(n, low, high int) errorCode {
	if n < low || n > high {
		return outOfRange
	}
	return noError
}

// truth is a condition as a result has it.
func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}

// identity is who the station says that it is.
func (s *firmware) identity() station.Identity {
	return station.Identity{Maker: "bufferstop", Model: "simulated station", Serial: "0", Version: Version}
}

// reset switches both outputs off and forgets every locomotive.
func (s *firmware) reset() action {
	s.scheduler.power, s.sequencer.wanted = false, false
	s.scheduler.reset()
	s.lastRead = 0
	s.hold(s.settings.flaws.resetHolds)
	for i := range s.port {
		s.switchOff(i)
	}
	return when(func() bool { return !s.port[mainPort].generator.running && !s.port[programmingPort].generator.running }, 0)
}

// settle waits until every command has gone out as often as it has to, and gives 1.
func (s *firmware) settle() action {
	return when(func() bool { return len(s.scheduler.commands) == 0 || !s.port[mainPort].generator.running }, 1)
}

// setPower switches an output.
func (s *firmware) setPower(t time.Duration, i int, on bool) action {
	if i == mainPort {
		s.scheduler.power = on
		if !on {
			s.scheduler.drop(noKey)
			if s.settings.forgets {
				s.scheduler.start = newStartup(s.settings)
			}
			s.offFlaw()
		}
	} else {
		s.sequencer.wanted = on
	}
	if on {
		s.switchOn(i, t)
		return done()
	}
	s.switchOff(i)
	return when(func() bool { return !s.port[i].generator.running }, 0)
}

// power gives the state of an output.
func (s *firmware) power(i int) action { return gives(int(s.port[i].state)) }

// current gives the current of an output in milliamperes.
func (s *firmware) current(i int) action { return gives(s.milliamperes(i)) }
