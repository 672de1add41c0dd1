package simulated

import (
	"time"

	"bufferstop/harness/station"
)

// Operations of the programming track. See operations.go.

// withinCV checks the number of a CV.
func withinCV(cv int) errorCode { return within(cv, 1, 1024) }

// builtIn checks a service-mode method. The zero value leaves the choice to the station, which has direct mode only.
func builtIn(m station.Method) errorCode {
	if m != "" && m != station.Direct {
		return illegalParameter
	}
	return noError
}

// readCV gives the value of a CV.
func (s *firmware) readCV(t time.Duration, cv int, m station.Method) action {
	if c := first(withinCV(cv), builtIn(m)); c != noError {
		return fails(c)
	}
	asked := cv
	if s.settings.flaws.lastCVKept && s.lastRead != 0 && t < s.lastReadTime+100*time.Millisecond {
		cv = s.lastRead
	}
	return s.program(t, operation{task: readTask, cv: cv}, func(o outcome) int {
		s.lastRead = 0
		if o.code == noError {
			s.lastRead, s.lastReadTime = asked, s.sequencer.endedAt
		}
		return int(o.value)
	})
}

// writeCV writes a CV.
func (s *firmware) writeCV(t time.Duration, cv, value int, m station.Method) action {
	if c := first(withinCV(cv), within(value, 0, 255), builtIn(m)); c != noError {
		return fails(c)
	}
	s.lastRead = 0
	return s.program(t, operation{task: writeTask, cv: cv, value: byte(value)}, nil)
}

// verifyCV compares a CV with a value, and gives 1 when it has it.
func (s *firmware) verifyCV(t time.Duration, cv, value int, m station.Method) action {
	if c := first(withinCV(cv), within(value, 0, 255), builtIn(m)); c != noError {
		return fails(c)
	}
	return s.program(t, operation{task: verifyTask, cv: cv, value: byte(value)}, func(o outcome) int { return truth(o.match) })
}

// writeBit writes bit 0 to 7 of a CV.
func (s *firmware) writeBit(t time.Duration, cv, bit, value int, m station.Method) action {
	if c := first(withinCV(cv), within(bit, 0, 7), within(value, 0, 1), builtIn(m)); c != noError {
		return fails(c)
	}
	s.lastRead = 0
	return s.program(t, operation{task: bitTask, cv: cv, bit: bit, value: byte(value)}, nil)
}

// program starts an operation on the programming track and waits for its end. What it gives is read from the outcome.
func (s *firmware) program(t time.Duration, o operation, value func(outcome) int) action {
	p := &s.port[programmingPort]
	if p.state == powerTripped && s.sequencer.wanted {
		return fails(trackTripped)
	}
	s.sequencer.begin(o)
	s.switchOn(programmingPort, t)
	if s.settings.flaws.mainPauses {
		s.pauseMain()
	}
	return func(t time.Duration) (result, bool) {
		if !s.sequencer.outcome.done || p.generator.running && !s.sequencer.wanted {
			return result{}, false
		}
		if s.settings.flaws.mainPauses {
			s.resumeMain(t)
		}
		r := result{code: s.sequencer.outcome.code}
		if value != nil {
			r.value = value(s.sequencer.outcome)
		}
		return r, true
	}
}
