package simulated

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
)

// operation is one thing to do on the programming track.
type operation struct {
	task  task
	way   station.Method
	cv    int
	value byte
	bit   int
}

type task uint8

const (
	readTask task = iota
	verifyTask
	writeTask
	bitTask
)

// outcome is how an operation ended.
type outcome struct {
	done  bool
	code  errorCode // noError when the decoder acknowledged what it had to
	value byte      // what was read
	match bool      // whether a verify was acknowledged
}

// stage is the part of a sequence that is being sent.
type stage uint8

const (
	atRest       stage = iota
	powerOnCycle       // S-9.2.3 E: at least 20 valid packets before any service-mode operation
	resetStage         // at least 3 reset packets
	servicePart        // at least 5 packets of the verify or write
	recoveryPart       // decoder recovery time of a write: at least 6 more
	afterPart          // at least 1 reset packet after a verify
	closingPart        // the output goes off, or the operation ends with it on
	pagePart           // at least 5 writes of the page register; see service_methods.go
	pageRecovery       // at least 6 packets more
	offPart            // no power, and then a power-on cycle
)

// sequencer runs the sequences of S-9.2.3 E (July 2012) on the programming track. A read by direct mode is eight bit
// verifies, one after the other, and a byte verify of what they gave: only then is the value taken for read. Those by the
// other methods are in service_methods.go. While it has nothing to do it keeps the output off, unless it was asked to power it.
type sequencer struct {
	settings *settings
	detector detector
	reset    dcc.Packet
	idle     dcc.Packet
	// hardReset is what a flawed firmware sends ahead of a write.
	hardReset dcc.Packet

	wanted  bool // power asked for by TRACk:POWer
	running bool
	op      operation
	outcome outcome

	stage   stage
	left    int
	sent    int
	packet  dcc.Packet
	pause   bool // a flawed firmware says nothing for a while before its next packet
	bit     int  // of a read: 0..7, then 8 for the byte verify
	value   byte
	phase   phase // of an operation that needs the page register
	attempt int
	check   bool // a write that nobody acknowledged is being verified
	endedAt time.Duration
	// finished is called when an operation has ended.
	finished func(t time.Duration)
}

func newSequencer(s *settings) sequencer {
	return sequencer{settings: s, detector: newDetector(s), reset: sealed(dcc.Reset{}), idle: sealed(dcc.Idle{}), hardReset: sealed(dcc.Reset{Hard: true})}
}

// serviceGap is the pause that a flawed firmware makes before its service packets; decoders leave service mode after
// 20 ms without a packet, S-9.2.3 C (July 2012).
const serviceGap = 25 * time.Millisecond

// begin starts an operation; the caller switches the output on if it is off.
func (s *sequencer) begin(o operation) {
	s.op, s.outcome, s.running = o, outcome{}, true
	s.bit, s.value, s.attempt, s.check = 0, 0, 1, false
	s.phase = s.firstPhase()
	s.detector.min = s.settings.acknowledgeMin
	if s.settings.flaws.roundedPulse && o.way != station.Direct {
		s.detector.min = 5600 * time.Microsecond
	}
	s.detector.restart()
	s.enter(powerOnCycle, s.reset, s.settings.powerOnPackets)
}

// abort ends the running operation with an error.
func (s *sequencer) abort(code errorCode) {
	if s.running {
		s.running, s.stage = false, atRest
		s.outcome = outcome{done: true, code: code}
	}
}

func (s *sequencer) enter(st stage, p dcc.Packet, n int) {
	s.stage, s.packet, s.left, s.sent = st, p, n, 0
}

// nextPacket is asked by the bit generator at the end of each packet.
func (s *sequencer) nextPacket(t time.Duration) dcc.Packet {
	if !s.running {
		return s.restPacket()
	}
	s.listen()
	if s.settings.endEarly && s.stage == servicePart && s.sent >= 2 && s.detector.acknowledged() {
		s.left = 0
	}
	for s.left == 0 {
		s.advance(t)
		if !s.running {
			return s.restPacket()
		}
		if s.stage == offPart {
			return nil
		}
	}
	s.left--
	s.sent++
	if s.settings.flaws.hardReset && s.stage == powerOnCycle && s.left == 4 && s.op.way == station.Direct && s.writing() {
		return s.hardReset
	}
	s.pause = s.settings.flaws.gapInSequence && s.stage == resetStage && s.sent == 2
	return s.packet
}

// listen moves the window in which an acknowledge counts.
func (s *sequencer) listen() {
	f := &s.settings.flaws
	switch s.stage {
	case powerOnCycle, resetStage:
		s.detector.block()
	case servicePart:
		// S-9.2.3 D: the window opens at the end bit of the second service packet.
		if s.sent == 2 || s.sent == 1 && f.firstOpens {
			s.detector.openWindow()
		}
		if s.sent == 3 && f.thirdShuts && !s.writing() {
			s.detector.shutWindow()
		}
	case recoveryPart:
		if s.sent == 1 && f.deafInRecovery {
			s.detector.shutWindow()
		}
	}
}

// restPacket is what the output says while there is nothing to do: idle when it was asked to be on, else nothing.
func (s *sequencer) restPacket() dcc.Packet {
	if s.wanted {
		return s.idle
	}
	return nil
}

// advance goes on to the next part of the sequence.
func (s *sequencer) advance(t time.Duration) {
	switch s.stage {
	case powerOnCycle:
		s.beginSequence()
	case resetStage:
		if s.phase != dataPhase {
			s.enterPage()
			return
		}
		n := s.verifies()
		if s.writing() {
			n = s.settings.writes
			if s.settings.flaws.factoryHurried && s.op.way == station.Register && s.op.cv == 8 {
				n = 2
			}
		}
		s.enter(servicePart, s.servicePacket(), n)
	case pagePart, pageRecovery:
		s.advancePage()
	case servicePart:
		if s.writing() {
			p := s.reset
			if s.settings.recoverWrites && !s.detector.acknowledged() {
				p = s.packet
			}
			s.enter(recoveryPart, p, s.recovery())
			return
		}
		s.enter(afterPart, s.reset, 1)
	case afterPart, recoveryPart:
		if s.detector.busy() {
			s.left = 1 // let the pulse that has begun end
			s.packet = s.reset
			return
		}
		s.judge(t)
	case closingPart:
		s.running, s.stage = false, atRest
		s.outcome.done, s.endedAt = true, t
		s.finished(t)
	}
}

func (s *sequencer) writing() bool {
	return (s.op.task == writeTask || s.op.task == bitTask) && !s.check
}

// beginSequence starts one sequence with its reset packets.
func (s *sequencer) beginSequence() {
	s.detector.restart()
	s.enter(resetStage, s.reset, s.settings.resets)
}

// servicePacket is the packet that the sequence repeats.
func (s *sequencer) servicePacket() dcc.Packet {
	cv := s.op.cv
	f := &s.settings.flaws
	if s.op.way != station.Direct {
		return s.registerPacket()
	}
	switch {
	case s.byBits() && s.bit < 8:
		return sealed(dcc.DirectBit{CV: cv, Bit: s.bit, Value: 1})
	case s.byBits() && f.bitsOnly:
		return sealed(dcc.DirectBit{CV: cv, Bit: 0, Value: s.value & 1})
	case s.op.task == readTask:
		return sealed(dcc.DirectVerify{CV: cv, Value: s.value})
	case s.op.task == verifyTask:
		return sealed(dcc.DirectVerify{CV: cv, Value: s.op.value})
	case s.op.task == writeTask && s.check:
		return sealed(dcc.DirectVerify{CV: cv, Value: s.op.value})
	case s.op.task == writeTask:
		value := s.op.value
		if f.sevenBitWrite {
			value &= 0x7f
		}
		if f.writeLowByte {
			cv = (cv-1)&0xff + 1
		}
		return sealed(dcc.DirectWrite{CV: cv, Value: value})
	case s.check:
		return sealed(dcc.DirectBit{CV: cv, Bit: s.op.bit, Value: s.op.value})
	}
	bit := s.op.bit
	if f.bitReversed {
		bit = 7 - bit
	}
	return sealed(dcc.DirectBit{CV: cv, Write: true, Bit: bit, Value: s.op.value})
}

// judge takes the result of one sequence and decides how to go on.
func (s *sequencer) judge(t time.Duration) {
	acknowledged := s.detector.acknowledged()
	f := &s.settings.flaws
	switch {
	case s.op.task == readTask && s.op.way != station.Direct:
		if !acknowledged && s.value < s.greatestValue() {
			s.value++
			s.beginSequence()
			return
		}
		s.outcome.value = s.value
		if !acknowledged {
			s.outcome.code = noAcknowledge
		}
	case s.byBits():
		if s.bit < 8 {
			if acknowledged {
				s.value |= 1 << s.bit
			}
			s.bit++
			s.beginSequence()
			return
		}
		switch {
		case s.op.task == verifyTask: // in a flawed firmware
			s.outcome.match = acknowledged && s.value == s.op.value
		case acknowledged && (f.failureMark == 0 || s.value != f.failureMark):
			s.outcome.value = s.value
		case s.attempt < s.settings.readAttempts:
			s.attempt++
			s.bit, s.value = 0, 0
			s.beginSequence()
			return
		default:
			s.outcome.code = noAcknowledge
		}
	case s.op.task == verifyTask:
		s.outcome.match = acknowledged && !(f.verifyNever && s.op.way == station.Direct)
	default:
		if !acknowledged && !s.check {
			// S-9.2.3 E: a decoder may leave a write unacknowledged. Ask it what it has.
			s.check = true
			s.beginSequence()
			return
		}
		if !acknowledged {
			s.outcome.code = noAcknowledge
		}
	}
	if s.leavesPage() {
		s.phase = restorePhase
		s.beginSequence()
		return
	}
	s.close()
}

// close ends the operation. Decoders leave service mode with a reset packet as the last thing that they heard.
func (s *sequencer) close() { s.enter(closingPart, s.reset, 2) }

// byBits reports whether a value is read bit by bit.
func (s *sequencer) byBits() bool {
	return s.op.way == station.Direct && (s.op.task == readTask || s.op.task == verifyTask && s.settings.flaws.bitsOnly)
}
