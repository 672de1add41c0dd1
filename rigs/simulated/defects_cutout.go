package simulated

import "time"

// cutoutDefects are ways in which cutouts go wrong.
var cutoutDefects = []Defect{
	{"cutout-early", "cutouts begin 20 µs after the end bit",
		[]string{"BID-001", "SIG-006"}, // less than the 26 µs of signal that have to follow
		cutoutAt(20*time.Microsecond, 471*time.Microsecond)},
	{"cutout-late", "cutouts begin 40 µs after the end bit",
		[]string{"BID-001"},
		cutoutAt(40*time.Microsecond, 471*time.Microsecond)},
	{"cutout-short", "cutouts end 420 µs after the end bit",
		[]string{"BID-002"},
		cutoutAt(29*time.Microsecond, 420*time.Microsecond)},
	{"cutout-long", "cutouts end 560 µs after the end bit",
		[]string{"BID-002"},
		cutoutAt(29*time.Microsecond, 560*time.Microsecond)},
	{"cutout-in-preamble", "the preamble is not longer for the cutout: of its 15 ones the cutout takes 4 or 5",
		[]string{"BID-003"},
		func(s *settings) { s.preamble = 15 }},
	{"cutout-in-service-mode", "the programming track has cutouts too, in the packets between power on and service mode",
		[]string{"BID-004"},
		func(s *settings) {
			s.flaws.serviceCutout = true
			s.longPreamble = 28 // 20 are left, S-9.2.3 E (July 2012)
		}},
	{"cutout-missing", "there is none after one packet of 12",
		[]string{"BID-006"},
		flaw(func(f *flaws) { f.cutoutsLost = true })},
}

// cutoutAt gives cutouts other times from the end bit on, with a preamble that is long enough for any.
func cutoutAt(begins, ends time.Duration) func(*settings) {
	return func(s *settings) {
		s.cutout = cutoutSettings{begins: begins, length: ends - begins}
		s.preamble = 22
	}
}
