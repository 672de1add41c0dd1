package simulated

import (
	"math/rand/v2"
	"time"

	"bufferstop/harness/dcc"
)

// settings are what the makers of a firmware build fix once: within the standards wherever the standards bind them, and
// otherwise as they please.
type settings struct {
	// Bit generator. A tick of the timer is 0.5 µs, a 16 MHz clock divided by 8 (common practice, no source).
	oneTicks, zeroTicks [2]int64      // ticks of the first and the second half of a bit
	crystal             float64       // deviation of the clock, as a fraction of its frequency
	jitter              time.Duration // an edge comes up to this much late, without moving the next one
	stretch             time.Duration // zeros of the main track are stretched by up to this much in each packet, by chance; zero for none

	// Packets.
	strewn                 int  // of this many packets one is an idle packet, whatever waits; zero for none
	shuffled               bool // the refresh takes locomotives in an order by chance, each once in a round
	preamble, longPreamble int  // ones before the packet start bit: S-9.2 A (July 2004), S-9.2.3 E (July 2012)
	repeats                int  // times that a command is sent
	stopRepeats            int  // times that a stop is sent
	pomRepeats             int  // times that a write on the main is sent, S-9.2.1 C (July 2012)

	// Power-up sequence of the main track, RP-9.2.4 A.
	powerUpResets, powerUpIdles int
	forgets                     bool // sent after each power off, and not only after a start

	// refreshHigh says that functions above F12 are refreshed too. One that does not must repeat a change: S-9.2.1 C (July 2012).
	refreshHigh bool
	// numbering says which accessory is number 1.
	numbering dcc.Numbering

	// Service mode, S-9.2.3 E (July 2012): packets of each part of a sequence.
	powerOnPackets   int
	resets           int
	verifies, writes int
	recovery         int
	recoverWrites    bool // send the write packet again, rather than resets, in the decoder recovery time
	// The methods beside direct mode: see service_methods.go.
	pagePresets           int  // writes of page 1, for the address-only and the register method
	pageWrites            int  // writes of the page, for the paged method
	pageRecovery          int  // packets after either
	recoverPresets        bool // the address-only method sends the page preset again, rather than resets, in that time
	presetOff             bool // the output goes off between page preset and instruction
	registerVerifies      int
	addressRecovery       int  // packets after a write by the address-only method
	firstRegisterRecovery int  // packets after a write of register 1
	endEarly              bool // stop repeating a packet once the decoder has acknowledged
	readAttempts          int  // attempts at a read that nobody answers

	// Converter: 10 bits on 5 V, one reading of each output in every period. A conversion of this family takes about
	// 0.1 ms and the two outputs take turns (common practice, no source).
	samplePeriod time.Duration
	converterLSB float64 // noise of a reading, standard deviation in counts

	// Acknowledge detector, in readings of the converter.
	acknowledgeRise int           // counts above the baseline
	acknowledgeMin  time.Duration // shortest pulse taken for an acknowledge
	acknowledgeMax  time.Duration // longest; zero takes any
	acknowledgeTop  int           // counts above the baseline that are no acknowledge any more; zero for none

	// Overload watch of each output.
	mainWatch, programmingWatch watchSettings
	retryAfter                  time.Duration

	// Current telemetry.
	countsPerAmpere float64 // what the firmware believes the sense amplifier gives

	// Bridge.
	rise time.Duration // from one polarity to the other
	// cutout is what the main track leaves for bi-directional communication; the zero value leaves nothing.
	cutout cutoutSettings
	// latched tracks stay off after a trip until they are switched on; the others come back by themselves.
	latched bool

	// Processor.
	bootTime     time.Duration // from supply to the first character accepted
	unitTime     time.Duration // to execute one unit of a message
	inputBuffer  int           // characters
	commandDepth int           // commands that wait for the track

	flaws flaws
}

// watchSettings are the overload watch of one output.
type watchSettings struct {
	threshold int           // counts of the converter
	filter    time.Duration // time constant of the filter on the readings
	hold      time.Duration // the filtered reading must stay above the threshold for this long
	disabled  bool
}

// countsPerAmpere is what the sense amplifier and the converter give for one ampere: 1.65 V/A into 1023 counts on 5 V
// (common practice, no source).
const countsPerAmpere = 1.65 / 5 * 1023

// nominal are the settings without any variation.
func nominal() settings {
	return settings{
		oneTicks:  [2]int64{116, 116}, // 58 µs, S-9.1 A (2020)
		zeroTicks: [2]int64{200, 200}, // 100 µs, S-9.1 A (2020)
		jitter:    200 * time.Nanosecond,

		preamble:     16,
		longPreamble: 22,
		repeats:      3,
		stopRepeats:  4,
		pomRepeats:   2,

		refreshHigh: true,

		powerUpResets: 20,
		powerUpIdles:  10,

		powerOnPackets: 20,
		resets:         3,
		verifies:       5,
		writes:         5,
		recovery:       6,

		pagePresets: 5, pageWrites: 5, pageRecovery: 6,
		registerVerifies: 7, addressRecovery: 10, firstRegisterRecovery: 10,

		endEarly:     true,
		readAttempts: 1,

		samplePeriod: 208 * time.Microsecond,
		converterLSB: 0.8,

		acknowledgeRise: counts(0.030),
		acknowledgeMin:  3 * time.Millisecond,

		mainWatch: watchSettings{
			threshold: counts(2.0), filter: 3 * time.Millisecond, hold: 30 * time.Millisecond,
		},
		programmingWatch: watchSettings{
			threshold: counts(0.27), filter: 3 * time.Millisecond, hold: 50 * time.Millisecond,
		},
		retryAfter: 970 * time.Millisecond,

		countsPerAmpere: countsPerAmpere,

		rise: 400 * time.Nanosecond,

		bootTime:     250 * time.Millisecond,
		unitTime:     150 * time.Microsecond,
		inputBuffer:  256,
		commandDepth: 12,
	}
}

// vary draws what the standards and the declared values leave free.
func (s *settings) vary(r *rand.Rand) {
	within := func(min, max int) int { return min + r.IntN(max-min+1) }
	span := func(min, max time.Duration) time.Duration {
		return min + time.Duration(r.Int64N(int64(max-min)+1))
	}
	// 57 to 59 µs, both halves alike; a crystal within 100 ppm; edges up to 0.4 µs late. Together at most 59.5 µs, and
	// halves that differ by 0.8 µs, where S-9.1 A (2020) allows 61 µs and 3 µs.
	one := int64(within(114, 118))
	s.oneTicks = [2]int64{one, one}
	// 98 to 115 µs: S-9.1 A (2020) allows from 95 µs.
	zero := int64(within(196, 230))
	s.zeroTicks = [2]int64{zero, zero}
	s.crystal = (2*r.Float64() - 1) * 100e-6
	s.jitter = span(0, 400*time.Nanosecond)

	s.preamble = within(14, 18)
	s.longPreamble = within(20, 26)
	s.repeats = within(2, 4)
	s.stopRepeats = within(3, 6)
	s.pomRepeats = within(2, 4)

	s.powerUpResets = within(20, 40)
	s.powerUpIdles = within(10, 30)

	s.powerOnPackets = within(20, 28)
	s.resets = within(3, 6)
	s.verifies = within(5, 8)
	s.writes = within(5, 8)
	s.recovery = within(6, 10)
	s.recoverWrites = r.IntN(2) == 0
	s.endEarly = r.IntN(2) == 0

	s.samplePeriod = span(190*time.Microsecond, 240*time.Microsecond)
	s.converterLSB = 0.5 + 0.5*r.Float64()
	s.acknowledgeRise = counts(0.027 + 0.009*r.Float64())
	s.acknowledgeMin = span(2600*time.Microsecond, 3400*time.Microsecond)

	s.mainWatch.threshold = counts(1.8 + 0.4*r.Float64())
	s.mainWatch.filter = span(2*time.Millisecond, 4*time.Millisecond)
	s.mainWatch.hold = span(20*time.Millisecond, 45*time.Millisecond)
	s.programmingWatch.threshold = counts(0.262 + 0.02*r.Float64())
	s.programmingWatch.filter = span(2*time.Millisecond, 4*time.Millisecond)
	s.programmingWatch.hold = span(40*time.Millisecond, 70*time.Millisecond)
	s.retryAfter = span(940*time.Millisecond, 985*time.Millisecond)

	s.bootTime = span(150*time.Millisecond, 400*time.Millisecond)
	s.unitTime = span(50*time.Microsecond, 400*time.Microsecond)

	s.pagePresets, s.pageWrites, s.pageRecovery = within(5, 8), within(5, 8), within(6, 9)
	s.recoverPresets, s.presetOff = r.IntN(2) == 0, r.IntN(2) == 0
	s.registerVerifies = within(7, 9)
	s.addressRecovery, s.firstRegisterRecovery = within(10, 12), within(10, 12)
	s.refreshHigh = r.IntN(2) == 0
	// 29.6 V from peak to peak in at most 3 µs are 9.9 V/µs, where S-9.1 B, Table 2 (2020) asks for 2.4.
	s.rise = span(100*time.Nanosecond, 3*time.Microsecond)
}

// counts is the reading of the converter for a current in amperes.
func counts(amperes float64) int { return int(amperes*countsPerAmpere + 0.5) }
