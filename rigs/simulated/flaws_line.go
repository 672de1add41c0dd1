package simulated

import (
	"strings"
	"time"
)

// holds reports whether something makes a single half-bit last longer.
func (f *flaws) holds() bool {
	return f.wideStretch > 0 || f.overrunHolds > 0 || f.errorHolds > 0 || f.hostLeavesHolds > 0 || f.readingStretch > 0 ||
		f.bootHolds > 0 || f.resetHolds > 0
}

// hold makes the next half-bit of the main track last longer: its interrupt comes late.
func (s *firmware) hold(d time.Duration) {
	if d > 0 {
		s.port[mainPort].generator.spoil.stretch = int64(d) * fine
	}
}

// lineFlaws is what a flawed firmware does at a character before it takes it, or does not.
func (s *firmware) lineFlaws(t time.Duration, c byte) (taken bool) {
	f := &s.settings.flaws
	if f.serialStretch > 0 {
		s.stretchHalfBit(t)
	}
	if c > 127 {
		s.hold(f.wideStretch)
	}
	s.partSince = t
	if c == '\n' {
		s.partSince = never
	}
	s.deaf = s.deaf || f.nulStops && c == 0
	return !s.deaf
}

// patience is how long a command may take to arrive before a flawed firmware holds the rest up: longer than any command takes on
// the line at the usual speed.
const patience = 20 * time.Millisecond

// starve is how long the main track then goes without a packet.
const starve = 40 * time.Millisecond

// partFlaw has the main track's next packet wait while a part of a command does.
func (s *firmware) partFlaw(t time.Duration) {
	if s.settings.flaws.partStarves && s.partSince != never && t-s.partSince > patience {
		g := &s.port[mainPort].generator
		g.spoil.hesitation = int(int64(starve) * fine / (g.half[1][0] + g.half[1][1]))
	}
}

// readingFlaw makes the main track late while the programming track is read.
func (s *firmware) readingFlaw() {
	if f := &s.settings.flaws; f.readingStretch > 0 && s.sequencer.running && s.sequencer.op.task == readTask {
		s.hold(f.readingStretch)
	}
}

// hostLeft is told when the host has closed its end of the line.
func (s *firmware) hostLeft() { s.hold(s.settings.flaws.hostLeavesHolds) }

// misread is what a flawed firmware makes of a message that is no command.
func (s *firmware) misread(t time.Duration) {
	f := &s.settings.flaws
	s.hold(f.errorHolds)
	if f.unknownDrives {
		a, _ := locomotiveAddress(9, false)
		s.setSpeed(a, 128, 1, 20)(t)
	}
}

// loopTime is how soon a flawed firmware hears what it has said.
const loopTime = 20 * time.Millisecond

// hearsItself reports whether a message is one that the station has said, in a firmware that then says it to whoever listens,
// itself among them.
func (s *firmware) hearsItself(message string) bool {
	return s.settings.flaws.heardAgain && s.said != "" && strings.TrimRight(message, "\r\n") == strings.TrimRight(s.said, "\r\n")
}
