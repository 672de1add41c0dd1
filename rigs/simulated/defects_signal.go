package simulated

import "time"

// signalDefects are ways in which the bits of a track go wrong.
var signalDefects = []Defect{
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
	{"off-at-the-end-bit", "the output is switched off in the interrupt that ends a packet, 3 µs after the last edge of its end bit",
		[]string{"SIG-006"},
		flaw(func(f *flaws) { f.offAtEnd = true })},
	{"undefined-half-bits", "the timer is loaded late, now and then: a zero of the main track has half-bits of 84 µs",
		[]string{"SIG-003", "SIG-007"},
		flaw(func(f *flaws) { f.longZero = 84 * time.Microsecond })},
	{"blinking-output", "the bridge of the main track is set up anew now and then, between packets: it is off for a millisecond",
		[]string{"SIG-008", "PKT-002"},
		flaw(func(f *flaws) { f.blinks = true })},
}
