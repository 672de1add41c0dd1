package simulated

import (
	"math/rand/v2"
	"slices"
	"time"

	"bufferstop/harness/dcc"
)

// powerState is what an output does, as the station knows it.
type powerState uint8

const (
	powerOff powerState = iota
	powerOn
	powerTripped
)

// port is an output as the firmware sees it: a timer that drives it, and a converter input that reads its current.
type port struct {
	state     powerState
	generator generator
	watch     watch
	retryAt   time.Duration
	readAt    time.Duration // next reading of the converter
	torn      bool          // go on in the middle of a packet after a trip; flawed firmware only
}

// mainPort and programmingPort index the two outputs.
const (
	mainPort = iota
	programmingPort
	ports
)

// firmware is everything that runs on the station's processor. It knows nothing of the track but the
// readings of its converter, and nothing of the host but characters.
type firmware struct {
	settings  *settings
	scheduler scheduler
	sequencer sequencer
	port      [ports]port
	// wakeAt is when the main loop has something to do: a message to execute or to go on with.
	wakeAt time.Duration
	inter  interpreter // of the language that the station speaks
	// say sends a response to the host.
	say func(t time.Duration, text string)

	lastRead     int // CV of the last read, for a flawed firmware; zero for none
	lastReadTime time.Duration
	busyLine     float64 // share of the time that characters came in lately, for a flawed firmware
	lineAt       time.Duration
	paused       bool          // the main track is held up, in a flawed firmware
	partSince    time.Duration // when the latest character of a part of a command came, for a flawed firmware; else never
	deaf         bool          // no character is taken any more, in a flawed firmware
	said         string        // the latest answer, for a flawed firmware
	speeds       int           // speed commands so far, in a flawed firmware
}

// newFirmware is the firmware of a station whose supply came on at t. The language is one of newSCPI and its like.
func newFirmware(set *settings, random *rand.Rand, t time.Duration, language func(s *firmware, ready time.Duration) interpreter,
	say func(time.Duration, string)) *firmware {
	s := &firmware{settings: set, wakeAt: never, say: say, partSince: never, scheduler: newScheduler(set, random), sequencer: newSequencer(set)}
	s.scheduler.drained = s.wake
	s.sequencer.finished = func(t time.Duration) {
		if !s.sequencer.wanted {
			s.port[programmingPort].state = powerOff
		}
		s.wake(t)
	}
	preambles := [ports]int{set.preamble, set.longPreamble}
	sources := [ports]packetSource{(*mainSource)(s), (*programmingSource)(s)}
	watches := [ports]watchSettings{set.mainWatch, set.programmingWatch}
	for i := range s.port {
		s.port[i] = port{
			generator: newGenerator(set, preambles[i], sources[i], rand.NewPCG(random.Uint64(), random.Uint64())),
			watch:     newWatch(watches[i], set.samplePeriod),
			retryAt:   never,
			readAt:    never,
			torn:      set.flaws.tornRestart,
		}
		s.port[i].generator.stopped = s.wake
	}
	s.port[programmingPort].generator.stopped = func(t time.Duration) {
		if s.sequencer.running && s.sequencer.stage == offPart {
			s.port[programmingPort].retryAt = t + powerlessTime
		}
		s.wake(t)
	}
	s.port[mainPort].generator.stretch = set.stretch.Nanoseconds() * fine
	s.port[mainPort].generator.cutout.cutoutSettings = set.cutout
	if set.flaws.cutoutsLost {
		s.port[mainPort].generator.cutout.everyOne = spoilEvery
	}
	if set.flaws.serviceCutout {
		s.port[programmingPort].generator.cutout.cutoutSettings = set.cutout
	}
	set.flaws.spoilGenerators(s)
	s.port[mainPort].watch.skip = set.flaws.saturatedSkip
	s.inter = language(s, t+set.bootTime)
	s.bootFlaw(t)
	return s
}

// mainSource is the scheduler with what flawed firmware adds to it.
type mainSource firmware

func (m *mainSource) nextPacket(t time.Duration) dcc.Packet {
	s := (*firmware)(m)
	s.partFlaw(t)
	packet := s.scheduler.nextPacket(t)
	if s.scheduler.pause {
		g := &s.port[mainPort].generator
		g.spoil.hesitation = int(int64(hesitation) * fine / (g.half[1][0] + g.half[1][1]))
	}
	return packet
}

// hesitation is how long flawed firmware sends nothing but ones.
const hesitation = 40 * time.Millisecond

// programmingSource is the sequencer with what flawed firmware adds to it.
type programmingSource firmware

func (p *programmingSource) nextPacket(t time.Duration) dcc.Packet {
	s := (*firmware)(p)
	packet := s.sequencer.nextPacket(t)
	s.port[programmingPort].generator.cutout.held = s.sequencer.stage != powerOnCycle
	if s.settings.flaws.serviceLeaks {
		s.scheduler.serviceLeak = nil
		if s.sequencer.running {
			s.scheduler.serviceLeak = packet
		}
	}
	if s.sequencer.pause {
		s.sequencer.pause = false
		g := &s.port[programmingPort].generator
		g.spoil.hesitation = int(int64(serviceGap) * fine / (g.half[1][0] + g.half[1][1]))
	}
	return packet
}

// wake has the main loop look what there is to do.
func (s *firmware) wake(t time.Duration) {
	if t < s.wakeAt {
		s.wakeAt = t
	}
}

// switchOn powers an output.
func (s *firmware) switchOn(i int, t time.Duration) {
	p := &s.port[i]
	if p.state == powerTripped && s.settings.flaws.deafToOn {
		return
	}
	p.state, p.retryAt = powerOn, never
	if p.generator.running {
		p.generator.ending = false
		return
	}
	p.watch.restart()
	p.generator.start(t)
	s.startFlaw(i)
	p.readAt = s.nextReading(i, t)
}

// switchOff lets the packet on its way end, and then cuts the power: S-9.2 C (July 2004) allows it only there.
func (s *firmware) switchOff(i int) {
	p := &s.port[i]
	p.state, p.retryAt = powerOff, never
}

// trip cuts the power of an output at once.
func (s *firmware) trip(i int, t time.Duration) {
	p := &s.port[i]
	p.generator.stop()
	p.state, p.readAt = powerTripped, never
	p.watch.restart()
	p.retryAt = t + s.settings.retryAfter
	if s.settings.latched {
		p.retryAt = never
	}
	if i == programmingPort {
		code := trackTripped
		if s.settings.flaws.tripUntold {
			code = noAcknowledge
		}
		s.sequencer.abort(code)
		if !s.sequencer.wanted {
			p.retryAt = never // the power was the operation's, and that is over
		}
		s.wake(t)
		return
	}
	s.scheduler.drop(noKey)
	s.wake(t)
	if s.settings.flaws.forgetsOnTrip {
		s.scheduler.roster.clear()
	}
}

// retry powers an output again after a trip, or in the middle of an operation of service mode. What the station knew before
// still holds, so it goes on with its refresh and not with the power-up sequence.
func (s *firmware) retry(i int, t time.Duration) {
	p := &s.port[i]
	p.state, p.retryAt = powerOn, never
	p.watch.restart()
	cut := slices.Clone(p.generator.bits)
	p.generator.start(t)
	if i == programmingPort && s.sequencer.stage == offPart {
		s.sequencer.powered()
	} else if p.torn {
		p.generator.spoil.tear(&p.generator, cut)
	}
	p.readAt = s.nextReading(i, t)
}

// nextReading is when the converter reads an output next: it takes turns, half a period apart.
func (s *firmware) nextReading(i int, t time.Duration) time.Duration {
	period := s.settings.samplePeriod
	offset := time.Duration(i) * period / ports
	return t - (t-offset)%period + period
}

// reading takes a reading of the converter.
func (s *firmware) reading(i int, t time.Duration, counts int) {
	p := &s.port[i]
	if !p.generator.running {
		p.readAt = never
		return
	}
	p.readAt = t + s.settings.samplePeriod
	if p.generator.cutout.open {
		return // nothing flows in a cutout, which says nothing of what lies across the rails
	}
	if f := &s.settings.flaws; f.loadStretch > 0 && i == mainPort && counts >= f.loadFrom {
		p.generator.spoil.stretch = int64(f.loadStretch) * fine
	}
	if i == programmingPort && s.sequencer.running {
		s.sequencer.detector.reading(counts)
		s.readingFlaw()
	}
	if p.watch.reading(counts) {
		s.trip(i, t)
		if s.settings.flaws.bothCut {
			for other := range s.port {
				if s.port[other].generator.running {
					s.trip(other, t)
				}
			}
		}
	}
}

// milliamperes is the current of an output as the station reports it.
func (s *firmware) milliamperes(i int) int {
	return int(s.port[i].watch.average/s.settings.countsPerAmpere*1000 + 0.5)
}

// character takes a character from the serial line.
func (s *firmware) character(t time.Duration, c byte) {
	if s.lineFlaws(t, c) {
		s.inter.character(t, c)
	}
}
