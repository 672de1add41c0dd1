package simulated

import (
	"slices"
	"time"

	"bufferstop/harness/dcc"

	"periph.io/x/conn/v3/physic"
)

// flaws are what a build of the firmware gets wrong that is not a wrong number in its settings.
type flaws struct {
	// Packets.
	staleErrorByte bool
	idleTooLong    bool
	tornBits       bool          // a bit changes its value between its halves
	longZero       time.Duration // both halves of one zero, now and then, on the main track
	idlePause      time.Duration // of ones, now and then, before an idle on the main track
	serialStretch  time.Duration // a half-bit lasts this much longer when characters come thick

	offAtEnd bool                      // the output goes off 3 µs after the last edge of a packet
	blinks   bool                      // the output goes off between two packets, now and then, on the main track
	stray    func(idle int) dcc.Packet // what goes out in place of an idle packet, or nil: the argument counts them

	// Encoder.
	oddSteps28       bool
	firstStepStops   bool
	highestShortLong bool
	long13Bits       bool
	headlightLow     bool
	f9AsF5           bool
	f21Reversed      bool
	accessoryPlain   bool
	accessorySwapped bool
	aspectShifted    bool
	long28Short      bool // the highest step of 28 is lost for long addresses
	long128Short     bool // the highest step of 128 is lost for long addresses in reverse
	serviceLooksLong bool
	lowByteSkipped   bool
	f68Lost          bool
	accessoryBlock   bool // one block of 64 decoders goes to the next
	aspectBlock      bool
	aspectSevenBits  bool
	offElsewhere     bool // off goes to the other output above decoder 64
	mainWriteLow     bool // CVs above 256 lose their high bits on the main
	mainBitVerifies  bool // bit 7 is verified on the main and not written

	// Scheduler and commands.
	lastForgotten  bool
	refreshForward bool // the refresh has forgotten the direction
	neverReleases  bool
	stopLost       bool
	stopAllDelay   time.Duration
	pairTorn       bool
	lastSeldom     bool // the last locomotive is refreshed seldom
	stopTurns      bool // the refresh of a locomotive at rest says forward
	stopAllTurns   bool // a stop of all turns every locomotive forward
	f0Clears       bool // F0 to F4 clear F9 to F12
	f21Once        bool // F21 to F28 are sent once, and not refreshed
	consistForward bool
	consistStays   bool
	stopTearsPair  bool // a stop of all comes between the two copies of a write on the main

	accessoryOneSlot bool // an accessory takes the place of another of its decoder that waits
	mainWriteOneSlot bool // a write on the main takes the place of any other that waits
	idleNap, busyNap bool // a speed command is left alone for a while, now and then

	// With so many locomotives it sends nothing but ones for 40 ms, now and then.
	hesitates                bool
	hesitateFrom, hesitateTo int

	// Service mode.
	gapInSequence     bool
	hardReset         bool
	factoryHurried    bool
	sevenBitWrite     bool
	bitReversed       bool
	failureMark       byte // a value that is taken for no value; zero for none
	verifyNever       bool
	lastCVKept        bool
	serviceLeaks      bool
	mainPauses        bool
	absoluteThreshold bool
	earlyWindow       bool
	firstOpens        bool // the first service packet opens the window, and not the second
	thirdShuts        bool // the third one of a verify shuts it
	deafInRecovery    bool // it is shut once a write was sent
	bitsOnly          bool // verifies no whole byte
	writeLowByte      bool // a write has the low byte of the CV's number only
	lastCVMissing     bool // direct mode ends at CV 1023
	roundedPulse      bool // in the methods beside direct mode only a pulse of 5.6 ms counts

	// The methods beside direct mode.
	addressUnpaged     bool // the address-only method has no page preset
	eightBitAddress    bool
	registerByDirect   bool
	registersExchanged bool // 7 and 8
	pageEarly          bool // the fourth CV of a page is looked for on the next
	pageKept           bool // the page register is not put back
	pagedOff           bool // the output goes off between page and data
	cycleShort         bool // few packets follow when the output comes on again in the middle of an operation
	lastPageMissing    bool // CV 1021 to 1024 are refused

	tripUntold bool // an overload ends an operation as if no decoder had answered

	// The line to the host, see flaws_line.go.
	wideStretch     time.Duration // a half-bit lasts this much longer at each character above 127
	overrunHolds    time.Duration // a half-bit lasts this much longer when the input has no room
	partStarves     bool          // while half a command waits for the rest, packets are late
	errorHolds      time.Duration // a half-bit lasts this much longer at each command that is none
	nulStops        bool          // after a NUL no character is taken any more
	unknownDrives   bool          // a message that is no command starts a locomotive
	heardAgain      bool          // the station's own answers, heard once, are said for ever
	hostLeavesHolds time.Duration // a half-bit lasts this much longer when the host goes
	readingStretch  time.Duration // half-bits of the main track last this much longer while a CV is read

	// Start, reset and power, see flaws_power.go.
	bootHolds  time.Duration // the main track stands at one polarity when the supply comes, for so long
	resetHolds time.Duration // the last half-bit before a reset takes the power off lasts so much longer
	offForgets bool          // what was known is forgotten when the power of the main track goes
	startsTorn bool          // the first thing on the main track is the end of a packet

	// Overload.
	saturatedSkip int
	bothCut       bool
	forgetsOnTrip bool
	tornRestart   bool
	deafToOn      bool // a track that has tripped is taken for one that is on: it comes back only after it was switched off

	// What the builder has wired to it.
	supply   physic.ElectricPotential // in place of the rig's
	slowRise time.Duration            // of the bridge
	uneven   physic.ElectricPotential // further drop of the negative polarity
	kink     physic.ElectricPotential // where the bridge runs back

	// Timing that depends on what is drawn.
	loadStretch time.Duration // a half-bit of the main track lasts this much longer at a reading
	loadFrom    int           // of so many counts

	// Cutouts.
	serviceCutout bool // the programming track has them too
	cutoutsLost   bool // now and then there is none
}

// tornBit is a bit whose value changes between its two halves: half a one and half a zero.
const tornBit = 2

// offBit is no bit: the output is off for its time.
const offBit = 3

// briefBit is what flawed firmware sends when it takes the power off too early after a packet: a half, and off.
const briefBit = 4

// brief is how long that half lasts.
const brief = 3 * time.Microsecond

// blink is how long each half of that lasts.
const blink = 500 * time.Microsecond

// bitSpoiler is what flawed firmware does between the packet and the timer. The zero value, but for long, does nothing.
type bitSpoiler struct {
	active bool // extra has something to do
	sent   int  // idle packets since power on

	hesitation int   // ones to send before the next packet
	stretch    int64 // added once to the present half-bit, fine

	torn  bool
	zero  int64 // added to both halves of a zero now and then, fine
	long  int   // position of that zero in the present packet, -1 for none
	pause int   // ones sent now and then before an idle
	off   bool  // an off state now and then before an idle
}

// settled is how many idle packets go by after power on before anything is spoiled, so that the power-up sequence with
// its at most 16 idles stays as it is.
const settled = 20

// apply changes the bits of a packet that is about to be sent.
func (b *bitSpoiler) apply(bits []byte, p dcc.Packet) []byte {
	b.long = -1
	ones := b.hesitation
	b.hesitation = 0
	if p.IsIdle() && (b.torn || b.zero != 0 || b.pause > 0 || b.off) {
		if b.sent++; b.sent > settled && b.sent%spoilEvery == 0 {
			switch {
			case b.torn:
				bits[len(bits)-12] = tornBit
			case b.zero != 0:
				b.long = len(bits) - p.Bits(0) // the packet start bit
			case b.off:
				return slices.Insert(bits, 0, 1, offBit) // after the 26 µs of S-9.2 footnote 3 (July 2004)
			default:
				ones = b.pause
			}
		}
	}
	if ones == 0 {
		return bits
	}
	return slices.Insert(bits, 0, slices.Repeat([]byte{1}, ones)...)
}

// extra is how much longer the half-bit at a position lasts.
func (b *bitSpoiler) extra(position int) int64 {
	extra := b.stretch
	b.stretch = 0
	if position == b.long {
		extra += b.zero
	}
	return extra
}

// spoilGenerators sets the flaws that sit between packet and timer. Only the main track's: on the programming track a
// long silence would make decoders leave service mode.
func (f *flaws) spoilGenerators(s *firmware) {
	g := &s.port[mainPort].generator
	g.spoil.torn, g.spoil.off = f.tornBits, f.blinks
	if f.longZero > 0 {
		g.spoil.zero = int64(f.longZero)*fine - g.half[0][0]
	}
	g.spoil.pause = int(int64(f.idlePause) * fine / (g.half[1][0] + g.half[1][1]))
	for i := range s.port {
		s.port[i].generator.spoil.active = f.longZero > 0 || f.serialStretch > 0 || f.loadStretch > 0 || f.holds()
	}
}

// tear has a generator that was just started go on among the last bytes of the packet that a trip has cut.
func (b *bitSpoiler) tear(g *generator, cut []byte) {
	g.bits = append(g.bits, cut[max(len(cut)-20, 0):]...)
}

// stretchHalfBit is a serial interrupt that holds up the timer's. It takes a buffer that has been filling for a while
// to show: characters must have come for more than a third of the last quarter of a second.
func (s *firmware) stretchHalfBit(t time.Duration) {
	const character, memory = 87 * time.Microsecond, 250 * time.Millisecond
	passed := float64(t - s.lineAt)
	s.lineAt = t
	s.busyLine = s.busyLine/(1+passed/float64(memory)) + float64(character)/float64(memory)
	if s.busyLine < 1.0/3 {
		return
	}
	for i := range s.port {
		s.port[i].generator.spoil.stretch = int64(s.settings.flaws.serialStretch) * fine
	}
}

// pauseMain stops the main track's timer while the processor is busy with the programming track.
func (s *firmware) pauseMain() {
	g := &s.port[mainPort].generator
	s.paused = g.running
	g.stop()
}

func (s *firmware) resumeMain(t time.Duration) {
	if s.paused && s.port[mainPort].state == powerOn {
		s.port[mainPort].generator.start(t)
		s.port[mainPort].readAt = s.nextReading(mainPort, t)
	}
	s.paused = false
}
