package simulated

import (
	"cmp"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
)

// Operations of the programming track. See operations.go.

// withinCV checks the number of a CV.
func withinCV(cv int) errorCode { return within(cv, 1, dcc.MaxCV) }

// way is the method that is used where one is asked for. The zero value leaves the choice to the station, which takes direct mode.
func (s *firmware) way(m station.Method) station.Method {
	if m == station.Register && s.settings.flaws.registerByDirect {
		return station.Direct
	}
	return cmp.Or(m, station.Direct)
}

// reaches checks whether a method reaches a CV, and whether it can hold the value. S-9.2.3 E (July 2012): the address-only method
// has CV 1 alone and seven bits, that of physical registers the seven CVs that have one.
func (s *firmware) reaches(cv, value int, m station.Method) errorCode {
	f := &s.settings.flaws
	last := dcc.MaxCV
	switch m {
	case station.AddressOnly:
		greatest := dcc.MaxShort
		if f.eightBitAddress {
			greatest = 255
		}
		return first(within(cv, 1, 1), within(value, 0, greatest))
	case station.Register:
		if _, has := dcc.CVRegister(cv); !has {
			return outOfRange
		}
	case station.Paged:
		if f.lastPageMissing {
			last = 1020
		}
	default:
		if f.lastCVMissing {
			last = 1023
		}
	}
	return first(within(cv, 1, last), within(value, 0, 255))
}

// readCV gives the value of a CV.
func (s *firmware) readCV(t time.Duration, cv int, m station.Method) action {
	if c := s.reaches(cv, 0, m); c != noError {
		return fails(c)
	}
	asked := cv
	if s.settings.flaws.lastCVKept && s.lastRead != 0 && t < s.lastReadTime+100*time.Millisecond {
		cv = s.lastRead
	}
	return s.program(t, operation{task: readTask, way: s.way(m), cv: cv}, func(o outcome) int {
		s.lastRead = 0
		if o.code == noError {
			s.lastRead, s.lastReadTime = asked, s.sequencer.endedAt
		}
		return int(o.value)
	})
}

// writeCV writes a CV.
func (s *firmware) writeCV(t time.Duration, cv, value int, m station.Method) action {
	if c := s.reaches(cv, value, m); c != noError {
		return fails(c)
	}
	s.lastRead = 0
	return s.program(t, operation{task: writeTask, way: s.way(m), cv: cv, value: byte(value)}, nil)
}

// verifyCV compares a CV with a value, and gives 1 when it has it.
func (s *firmware) verifyCV(t time.Duration, cv, value int, m station.Method) action {
	if c := s.reaches(cv, value, m); c != noError {
		return fails(c)
	}
	return s.program(t, operation{task: verifyTask, way: s.way(m), cv: cv, value: byte(value)}, func(o outcome) int { return truth(o.match) })
}

// writeBit writes bit 0 to 7 of a CV, which only direct mode can.
func (s *firmware) writeBit(t time.Duration, cv, bit, value int, m station.Method) action {
	if c := first(s.reaches(cv, value, m), within(bit, 0, 7), within(value, 0, 1)); c != noError {
		return fails(c)
	}
	if s.way(m) != station.Direct {
		return fails(illegalParameter)
	}
	s.lastRead = 0
	return s.program(t, operation{task: bitTask, way: s.way(m), cv: cv, bit: bit, value: byte(value)}, nil)
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
