package simulated

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
)

// The methods beside direct mode, S-9.2.3 E (July 2012): address-only, physical register and paged. Their packets are the same, and
// the page register of the decoder tells which is meant. So each operation writes that first, and the paged method puts it back to
// page 1 in the end. A value is read by asking for each in turn, from 0 on.

// phase is the part of an operation by one of these methods.
type phase uint8

const (
	dataPhase    phase = iota // the register itself; all there is of direct mode
	pagePhase                 // the page register is written
	restorePhase              // the page register is put back to 1
)

// powerlessTime is how long the output is off between the page preset and the instruction, where S-9.2.3 E (July 2012) leaves that
// to the station. Our own choice: longer than decoders live on their capacitors.
const powerlessTime = 60 * time.Millisecond

// firstPhase is where an operation begins.
func (s *sequencer) firstPhase() phase {
	f := &s.settings.flaws
	switch {
	case s.op.way == station.Direct, s.op.way == station.AddressOnly && f.addressUnpaged:
		return dataPhase
	}
	return pagePhase
}

// page is the value for the page register. The methods other than paged want page 1.
func (s *sequencer) page() byte {
	if s.op.way != station.Paged || s.phase == restorePhase {
		return 1
	}
	page, _, _ := dcc.CVPage(s.op.cv) // the CV was checked
	if s.settings.flaws.pageEarly && s.op.cv%4 == 0 {
		page++
	}
	return page
}

// register is the register in which the operation finds its CV, 1..8.
func (s *sequencer) register() int {
	if s.op.way == station.Paged {
		_, r, _ := dcc.CVPage(s.op.cv) // the CV was checked
		return r
	}
	r, _ := dcc.CVRegister(s.op.cv) // the CV was checked
	if s.settings.flaws.registersExchanged && r >= 7 {
		r = 7 + 8 - r
	}
	return r
}

// enterPage begins to write the page register.
func (s *sequencer) enterPage() {
	n := s.settings.pagePresets
	if s.op.way == station.Paged {
		n = s.settings.pageWrites
	}
	s.enter(pagePart, sealed(dcc.Register{Write: true, Register: dcc.PageRegister, Value: s.page()}), n)
}

// advancePage goes on after a part of writing the page register.
func (s *sequencer) advancePage() {
	switch {
	case s.stage == pagePart:
		p := s.reset
		if s.op.way == station.AddressOnly && s.settings.recoverPresets {
			p = s.packet
		}
		s.enter(pageRecovery, p, s.settings.pageRecovery)
	case s.phase == restorePhase:
		s.close()
	default:
		s.phase = dataPhase
		if s.powerCycles() {
			s.enter(offPart, nil, 0)
			return
		}
		s.beginSequence()
	}
}

// powerCycles reports whether the output goes off between page register and instruction. In the middle of a paged operation that
// is not allowed: S-9.2.3 E, footnote 3 (July 2012).
func (s *sequencer) powerCycles() bool {
	if s.op.way == station.Paged {
		return s.settings.flaws.pagedOff
	}
	return s.settings.presetOff
}

// powered goes on after the output was off in the middle of an operation.
func (s *sequencer) powered() {
	n := s.settings.powerOnPackets
	if s.settings.flaws.cycleShort {
		n = 5
	}
	s.enter(powerOnCycle, s.reset, n)
}

// leavesPage reports whether the page register has to be put back.
func (s *sequencer) leavesPage() bool {
	return s.op.way == station.Paged && s.page() != 1 && !s.settings.flaws.pageKept
}

// registerPacket is the packet that the sequence repeats. Register 1 is that of the address-only method too.
func (s *sequencer) registerPacket() dcc.Packet {
	value := s.op.value
	if s.op.task == readTask {
		value = s.value
	}
	return sealed(dcc.Register{Write: s.writing(), Register: s.register(), Value: value})
}

// greatestValue is the last one that a read asks for: an address has seven bits.
func (s *sequencer) greatestValue() byte {
	if s.op.way == station.AddressOnly {
		return dcc.MaxShort
	}
	return 255
}

// verifies is how often a verify is sent: at least 5 times, by physical register at least 7 times.
func (s *sequencer) verifies() int {
	if s.op.way == station.Register {
		return s.settings.registerVerifies
	}
	return s.settings.verifies
}

// recovery is how many packets follow a write: at least 6, after one of register 1 that is not paged at least 10.
func (s *sequencer) recovery() int {
	switch {
	case s.op.way == station.AddressOnly:
		return s.settings.addressRecovery
	case s.op.way == station.Register && s.register() == 1:
		return s.settings.firstRegisterRecovery
	}
	return s.settings.recovery
}
