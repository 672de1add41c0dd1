package simulated

import (
	"time"

	"bufferstop/harness/dcc"
)

// Operations of the main track. See operations.go.

// locomotiveAddress is an address that the station drives: 1 to 127 short, 128 to 10239 long.
func locomotiveAddress(number int, long bool) (dcc.Address, errorCode) {
	if long {
		return dcc.Long(uint16(number)), within(number, 128, 10239)
	}
	return dcc.Short(uint16(number)), within(number, 1, 127)
}

// setSpeed tells a locomotive its speed: step 0 stops it, the highest is 28 or 126.
func (s *firmware) setSpeed(a dcc.Address, steps dcc.Steps, d dcc.Direction, step int) action {
	if c := within(step, 0, steps.Max()); c != noError {
		return fails(c)
	}
	if s.naps() {
		return s.later(nap, func() action { return s.setSpeedNow(a, steps, d, step) })
	}
	return s.setSpeedNow(a, steps, d, step)
}

func (s *firmware) setSpeedNow(a dcc.Address, steps dcc.Steps, d dcc.Direction, step int) action {
	l := s.scheduler.roster.enter(a, s.settings.flaws.neverReleases)
	if l == nil {
		return fails(outOfMemory)
	}
	l.speedSet, l.steps, l.step, l.direction = true, steps, step, d
	return s.send(command{
		packet: s.scheduler.encoder.speed(l, false), key: keyOf(a), kind: kindSpeed, copies: s.settings.repeats,
	})
}

// setFunction switches a function, 0 to 68, of a locomotive.
func (s *firmware) setFunction(a dcc.Address, f int, on bool) action {
	if c := within(f, 0, dcc.MaxFunction); c != noError {
		return fails(c)
	}
	flaws := &s.settings.flaws
	l := s.scheduler.roster.enter(a, flaws.neverReleases)
	if l == nil {
		return fails(outOfMemory)
	}
	g := l.switchFunction(f, on)
	if flaws.f0Clears && g == dcc.F0F4 {
		l.functions[dcc.F9F12] = 0
	}
	copies := s.settings.repeats
	switch {
	case flaws.f21Once && g == dcc.F21F28:
		copies = 1
	case g >= dcc.F13F20 && !s.settings.refreshHigh:
		copies = max(copies, 3) // once, and two repetitions: S-9.2.1 C (July 2012)
	}
	return s.send(command{
		packet: s.scheduler.encoder.functions(l, g), key: keyOf(a), kind: kindFunctions + kind(g), copies: copies,
	})
}

// setConsist puts a locomotive into a consist, 1 to 127, and clearConsist takes it out: S-9.2.1 C (July 2012), consist control.
func (s *firmware) setConsist(a dcc.Address, consist int, reversed bool) action {
	if c := first(within(consist, 1, 127), s.mainReady()); c != noError {
		return fails(c)
	}
	return s.sendConsist(dcc.Consist{Address: a, Consist: consist, Reversed: reversed && !s.settings.flaws.consistForward})
}

func (s *firmware) clearConsist(a dcc.Address) action {
	if c := s.mainReady(); c != noError {
		return fails(c)
	}
	if s.settings.flaws.consistStays {
		return done()
	}
	return s.sendConsist(dcc.Consist{Address: a})
}

func (s *firmware) sendConsist(i dcc.Consist) action {
	i.Address = s.scheduler.encoder.address(i.Address)
	return s.send(command{packet: sealed(i), key: keyOf(i.Address), kind: kindConsist, copies: s.settings.repeats})
}

// release forgets a locomotive.
func (s *firmware) release(a dcc.Address) action {
	if !s.settings.flaws.neverReleases {
		s.scheduler.roster.release(a)
		s.scheduler.drop(keyOf(a))
	}
	return done()
}

// stop is the emergency stop of one locomotive. One that the station does not know is stopped in 28 steps, which every
// decoder understands: S-9.2 B (July 2004).
func (s *firmware) stop(a dcc.Address) action {
	if s.settings.flaws.stopLost {
		return done()
	}
	l := s.scheduler.roster.find(a)
	if l == nil {
		l = &locomotive{address: a, steps: dcc.Steps28, direction: dcc.Forward}
	}
	l.step = 0
	s.scheduler.dropSpeed(keyOf(a))
	return s.send(command{
		packet: s.scheduler.encoder.speed(l, true), key: keyOf(a), kind: kindStop, copies: s.settings.stopRepeats,
	})
}

// stopAll is the emergency stop of all locomotives.
func (s *firmware) stopAll(t time.Duration) action {
	s.scheduler.roster.stop(&s.settings.flaws)
	s.scheduler.dropMotion()
	return s.send(command{
		packet: s.scheduler.encoder.stopAll(), key: everybody, kind: kindStop, copies: s.settings.stopRepeats,
		after: t + s.settings.flaws.stopAllDelay,
	})
}

// setAccessory activates one output of an accessory's pair, 1 or 0, or switches it off. Users count accessories from 1 to 2044.
func (s *firmware) setAccessory(number, output int, activate bool) action {
	if c := first(within(number, 1, 2044), within(output, 0, 1), s.mainReady()); c != noError {
		return fails(c)
	}
	packet := s.scheduler.encoder.accessory(number, output, activate)
	return s.send(command{packet: packet, key: accessoryKeyOf(s.settings.numbering, number), kind: kindAccessory, copies: s.settings.repeats})
}

// setAspect shows an aspect, 0 to 255, on an extended accessory, 1 to 2044.
func (s *firmware) setAspect(number, aspect int) action {
	if c := first(within(number, 1, 2044), within(aspect, 0, 255), s.mainReady()); c != noError {
		return fails(c)
	}
	packet := s.scheduler.encoder.aspect(number, byte(aspect))
	return s.send(command{packet: packet, key: accessoryKeyOf(s.settings.numbering, number), kind: kindAccessory, copies: s.settings.repeats})
}

// writeOnMain writes a CV of one decoder on the main track.
func (s *firmware) writeOnMain(a dcc.Address, cv, value int) action {
	if c := first(withinCV(cv), within(value, 0, 255), s.mainReady()); c != noError {
		return fails(c)
	}
	return s.sendMainWrite(a, s.scheduler.encoder.mainWrite(a, cv, byte(value)))
}

// writeBitOnMain writes one bit of a CV of one decoder on the main track.
func (s *firmware) writeBitOnMain(a dcc.Address, cv, bit, value int) action {
	if c := first(withinCV(cv), within(bit, 0, 7), within(value, 0, 1), s.mainReady()); c != noError {
		return fails(c)
	}
	return s.sendMainWrite(a, s.scheduler.encoder.mainBit(a, cv, bit, byte(value)))
}

func (s *firmware) sendMainWrite(a dcc.Address, p dcc.Packet) action {
	return s.send(command{
		packet: p, key: keyOf(a), kind: kindMainWrite, copies: s.settings.pomRepeats, pair: s.settings.pomRepeats > 1,
	})
}

// mainReady is what stands in the way of a packet that is only sent once and so cannot wait for power.
func (s *firmware) mainReady() errorCode {
	switch s.port[mainPort].state {
	case powerOff:
		return settingsConflict
	case powerTripped:
		return trackTripped
	}
	return noError
}

// send hands a command to the scheduler, and waits while it takes none. Without power there is nothing to send: the
// refresh says what locomotives have to do as soon as there is.
func (s *firmware) send(c command) action {
	return when(func() bool {
		switch {
		case s.port[mainPort].state != powerOn:
		case c.key != everybody && c.kind != kindStop && s.scheduler.full():
			return false
		default:
			s.scheduler.enqueue(c)
		}
		return true
	}, 0)
}
