package simulated

import "time"

// overloadDefects are ways in which too much current is not seen to as declared.
var overloadDefects = []Defect{
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
