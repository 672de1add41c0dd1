package simulated

import "time"

// acknowledgeDefects are ways in which the acknowledge of a decoder is misread.
var acknowledgeDefects = []Defect{
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
	{"deaf-in-recovery", "the window of a write shuts with the first packet of the recovery time",
		[]string{"ACK-006"},
		func(s *settings) { s.flaws.deafInRecovery, s.writes = true, 5 }},
	{"window-shuts-early", "the window of a verify shuts with the third packet",
		[]string{"ACK-007"},
		flaw(func(f *flaws) { f.thirdShuts = true })},
	{"long-pulse-by-other-methods", "in the methods beside direct mode a pulse shorter than 5.6 ms is taken for noise",
		[]string{"ACK-008"},
		flaw(func(f *flaws) { f.roundedPulse = true })},
}
