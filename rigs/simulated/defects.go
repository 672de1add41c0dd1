package simulated

import (
	"fmt"
	"strings"
	"time"
)

// A Defect is one way in which real firmware goes wrong.
type Defect struct {
	// Name is short and lasting.
	Name string
	// Summary says what the station does.
	Summary string
	// Breaks lists the ids of the requirements that a station with this defect does not meet.
	Breaks []string

	apply func(*settings)
}

// Defects lists the seeded defects in the order of the requirements that they break.
func Defects() []Defect {
	list := make([]Defect, len(defects))
	copy(list, defects)
	return list
}

// Find returns the defect of a name. The error lists those that are like it, or says how to list all.
func Find(name string) (Defect, error) {
	var like []string
	for _, d := range defects {
		if d.Name == name {
			return d, nil
		}
		for _, word := range strings.Split(strings.ToLower(name), "-") {
			if len(word) > 3 && strings.Contains(d.Name, word) {
				like = append(like, d.Name)
				break
			}
		}
	}
	hint := "`bufferstop defects` lists them"
	if len(like) > 0 {
		hint = "there is " + strings.Join(like, ", ")
	}
	return Defect{}, fmt.Errorf("simulated rig: no defect named %q; %s", name, hint)
}

// flaw makes an apply function of a change to the flaws.
func flaw(change func(*flaws)) func(*settings) {
	return func(s *settings) { change(&s.flaws) }
}

var defects = []Defect{
	// Bit timing.
	{"slow-crystal", "the timer constant suits another crystal: ones have half-bits of 62 µs",
		[]string{"SIG-001", "SIG-005"},
		func(s *settings) { s.oneTicks = [2]int64{124, 124} }},
	{"late-timer-reload", "the timer is reloaded late on one half: the halves of a one differ by 4 µs",
		[]string{"SIG-002", "SIG-005"},
		func(s *settings) { s.oneTicks = [2]int64{112, 120} }},
	{"short-zero", "zeros have half-bits of 92 µs",
		[]string{"SIG-003", "SIG-005"},
		func(s *settings) { s.zeroTicks = [2]int64{184, 184} }},
	{"overstretched-zero", "on the main track one zero in many is stretched to two halves of 6.5 ms: each is legal, both together are not",
		[]string{"SIG-004"},
		flaw(func(f *flaws) { f.longZero = 6500 * time.Microsecond })},
	{"serial-interrupt", "the serial interrupt holds up the bit timer: while characters come thick, half-bits last 5 µs longer",
		[]string{"SIG-005"},
		func(s *settings) {
			s.flaws.serialStretch = 5 * time.Microsecond
			s.oneTicks = [2]int64{116, 116}
		}},

	// Packets.
	{"short-preamble", "the main track has a preamble of 12 ones",
		[]string{"PKT-001", "REC-002"},
		func(s *settings) { s.preamble = 12 }},
	{"torn-bit", "the next byte is fetched between the halves of a bit: now and then a bit of an idle packet is half a one and half a zero",
		[]string{"PKT-002"},
		flaw(func(f *flaws) { f.tornBits = true })},
	{"stale-error-byte", "now and then a refresh packet has the error byte of an earlier one",
		[]string{"PKT-003", "REC-002"},
		flaw(func(f *flaws) { f.staleErrorByte = true })},
	{"kept-length", "now and then an idle packet goes out with the length of a longer buffer: seven bytes",
		[]string{"PKT-004"},
		flaw(func(f *flaws) { f.idleTooLong = true })},
	{"idle-pause", "now and then only ones are sent for 40 ms when there is nothing to say",
		[]string{"RATE-001", "SRV-010"},
		flaw(func(f *flaws) { f.idlePause = 40 * time.Millisecond })},
	{"last-locomotive-forgotten", "the refresh loop ends one short: with several locomotives the last one is never refreshed",
		[]string{"RATE-002"},
		flaw(func(f *flaws) { f.lastForgotten = true })},

	// Operations.
	{"refresh-forgets-direction", "every repetition of a speed says forward, whatever was asked for",
		[]string{"OPS-012"},
		flaw(func(f *flaws) { f.refreshForward = true })},
	{"odd-steps-28", "the table of 28 steps repeats itself: odd steps above 1 are sent as the step below",
		[]string{"OPS-001"},
		flaw(func(f *flaws) { f.oddSteps28 = true })},
	{"first-step-stops", "128 steps are counted from the wrong end of the code: step 1 goes out as an emergency stop",
		[]string{"OPS-002"},
		flaw(func(f *flaws) { f.firstStepStops = true })},
	{"address-127-long", "the bound between short and long addresses is one off: 127 goes out as a long address",
		[]string{"OPS-003"},
		flaw(func(f *flaws) { f.highestShortLong = true })},
	{"long-address-13-bits", "the high byte of a long address loses its top bit: addresses above 8191 go to another decoder",
		[]string{"OPS-004"},
		flaw(func(f *flaws) { f.long13Bits = true })},
	{"headlight-bit", "F0 to F4 are packed in their order: the headlight takes the bit of F1, and so on",
		[]string{"OPS-005", "OPS-012"},
		flaw(func(f *flaws) { f.headlightLow = true })},
	{"f9-sent-as-f5", "the group F9 to F12 goes out with the code of F5 to F8",
		[]string{"OPS-006"},
		flaw(func(f *flaws) { f.f9AsF5 = true })},
	{"f21-reversed", "the bits of F21 to F28 are in reverse order",
		[]string{"OPS-007"},
		flaw(func(f *flaws) { f.f21Reversed = true })},
	{"stop-lost", "the stop of one locomotive is taken and never sent",
		[]string{"OPS-008"},
		flaw(func(f *flaws) { f.stopLost = true })},
	{"stop-all-late", "the stop of all waits in the queue for a second",
		[]string{"OPS-009"},
		flaw(func(f *flaws) { f.stopAllDelay = time.Second })},
	{"short-input-buffer", "commands that come while it is busy find no room, and are lost",
		[]string{"LNK-001"},
		func(s *settings) { s.inputBuffer = 64 }},
	{"pom-once", "a write on the main is sent a single time",
		[]string{"OPS-010"},
		func(s *settings) { s.pomRepeats = 1 }},
	{"release-ignored", "a released locomotive stays in the refresh",
		[]string{"OPS-011"},
		flaw(func(f *flaws) { f.neverReleases = true })},

	// Accessories.
	{"accessory-high-bits", "the high bits of an accessory address are not complemented",
		[]string{"ACC-001"},
		flaw(func(f *flaws) { f.accessoryPlain = true })},
	{"accessory-outputs-swapped", "the two outputs of a pair are exchanged",
		[]string{"ACC-001"},
		flaw(func(f *flaws) { f.accessorySwapped = true })},
	{"aspect-shifted", "the aspect of an extended accessory is one bit too far left",
		[]string{"ACC-002"},
		flaw(func(f *flaws) { f.aspectShifted = true })},

	// Power-up.
	{"few-resets", "8 reset packets at power-up",
		[]string{"PWR-001"},
		func(s *settings) { s.powerUpResets = 8 }},
	{"few-idles", "3 idle packets after the reset packets at power-up",
		[]string{"PWR-001"},
		func(s *settings) { s.powerUpIdles = 3 }},

	// Service mode.
	{"service-preamble", "the programming track has the preamble of the main track: 16 ones",
		[]string{"SRV-001"},
		func(s *settings) { s.longPreamble = 16 }},
	{"short-power-on-cycle", "12 packets between power on and service mode",
		[]string{"SRV-002"},
		func(s *settings) { s.powerOnPackets, s.resets = 8, 4 }},
	{"four-verifies", "a verify packet is sent 4 times",
		[]string{"SRV-003"},
		func(s *settings) { s.verifies = 4 }},
	{"three-writes", "a write packet is sent 3 times, and then resets",
		[]string{"SRV-004"},
		func(s *settings) { s.writes, s.recoverWrites = 3, false }},
	{"gap-in-sequence", "25 ms pass after the first reset packet of a service-mode sequence, with nothing but ones",
		[]string{"SRV-005"},
		flaw(func(f *flaws) { f.gapInSequence = true })},
	{"short-recovery", "3 packets follow a write instead of 6, and then the next sequence begins",
		[]string{"SRV-004"},
		func(s *settings) { s.writes, s.recovery, s.resets, s.recoverWrites = 5, 3, 3, false }},
	{"nothing-is-255", "a read CV of 255 is taken for nothing read",
		[]string{"SRV-012"},
		flaw(func(f *flaws) { f.failureMark = 255 })},
	{"nothing-is-64", "a read CV of 64 is taken for the mark of a read that failed",
		[]string{"SRV-006"},
		flaw(func(f *flaws) { f.failureMark = 64 })},
	{"last-cv-kept", "a read that follows at once on another still asks for that one's CV",
		[]string{"SRV-007"},
		flaw(func(f *flaws) { f.lastCVKept = true })},
	{"seven-bit-write", "the top bit of a written value is lost",
		[]string{"SRV-008"},
		flaw(func(f *flaws) { f.sevenBitWrite = true })},
	{"verify-never", "a verify is answered with no, whatever the decoder says",
		[]string{"SRV-008"},
		flaw(func(f *flaws) { f.verifyNever = true })},
	{"patient-reader", "a read that nobody answers is tried three times before the station gives up",
		[]string{"SRV-009"},
		func(s *settings) { s.readAttempts = 3 }},
	{"service-leaks", "service-mode packets go out on the main track as well",
		[]string{"SRV-010"},
		flaw(func(f *flaws) { f.serviceLeaks = true })},
	{"main-pauses", "the main track has no signal while the programming track is in use",
		[]string{"SRV-010"},
		flaw(func(f *flaws) { f.mainPauses = true })},
	{"bit-order-reversed", "a bit write counts the bits from the other end",
		[]string{"SRV-011"},
		flaw(func(f *flaws) { f.bitReversed = true })},

	// Acknowledge.
	{"wants-long-pulse", "a pulse shorter than 5.6 ms is taken for noise",
		[]string{"ACK-001"},
		func(s *settings) { s.acknowledgeMin = 5600 * time.Microsecond }},
	{"wants-short-pulse", "a pulse longer than 6.6 ms is taken for noise",
		[]string{"ACK-002"},
		func(s *settings) { s.acknowledgeMax = 6600 * time.Microsecond }},
	{"strong-pulse-refused", "an increase of more than 180 mA is taken for a fault and not for an acknowledge",
		[]string{"ACK-003"},
		func(s *settings) { s.acknowledgeTop = counts(0.180) }},
	{"absolute-threshold", "the acknowledge threshold of 45 mA does not allow for what the decoder draws anyway",
		[]string{"ACK-004"},
		func(s *settings) {
			s.flaws.absoluteThreshold = true
			s.acknowledgeRise = counts(0.045)
		}},
	{"early-window", "pulses during the reset packets already count as an acknowledge",
		[]string{"ACK-005"},
		flaw(func(f *flaws) { f.earlyWindow = true })},
	{"window-after-first", "the window for an acknowledge opens with the first service packet",
		[]string{"ACK-005"},
		flaw(func(f *flaws) { f.firstOpens = true })},

	// Overload.
	{"saturated-reading", "readings at the converter's end of scale are mostly thrown away: a dead short takes some tenths of a second to trip",
		[]string{"OVL-001"},
		flaw(func(f *flaws) { f.saturatedSkip = 10 })},
	{"trips-early", "the main track trips at 1.35 A",
		[]string{"OVL-002"},
		func(s *settings) { s.mainWatch.threshold = counts(1.35) }},
	{"trips-high", "the main track trips at 2.8 A only",
		[]string{"OVL-003"},
		func(s *settings) { s.mainWatch.threshold = counts(2.8) }},
	{"no-filter", "one reading above the threshold trips the main track",
		[]string{"OVL-004"},
		func(s *settings) { s.mainWatch.filter, s.mainWatch.hold = 0, 0 }},
	{"programming-unwatched", "the programming track has no overload watch",
		[]string{"OVL-005"},
		func(s *settings) { s.programmingWatch.disabled = true }},
	{"both-cut", "an overload of one track switches off both",
		[]string{"OVL-006"},
		flaw(func(f *flaws) { f.bothCut = true })},
	{"late-retry", "power returns 4 s after a trip",
		[]string{"REC-001"},
		func(s *settings) { s.retryAfter = 4 * time.Second }},
	{"torn-restart", "after a trip the signal goes on in the middle of the packet that was cut",
		[]string{"REC-002"},
		flaw(func(f *flaws) { f.tornRestart = true })},
	{"forgets-on-trip", "a trip clears the refresh list",
		[]string{"REC-003"},
		flaw(func(f *flaws) { f.forgetsOnTrip = true })},
	{"wrong-gain", "the reported current is reckoned with a sense amplifier of 2 V/A",
		[]string{"CUR-001"},
		func(s *settings) { s.countsPerAmpere *= 2 / 1.65 }},
}
