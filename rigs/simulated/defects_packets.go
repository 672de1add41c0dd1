package simulated

import (
	"slices"
	"time"
)

// packetDefects are ways in which packets and their rate go wrong.
var packetDefects = slices.Concat(framingDefects, strayDefects)

var framingDefects = []Defect{
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
		[]string{"PKT-004", "PKT-012"},
		flaw(func(f *flaws) { f.idleTooLong = true })},
	{"idle-pause", "now and then only ones are sent for 40 ms when there is nothing to say",
		[]string{"RATE-001"},
		flaw(func(f *flaws) { f.idlePause = 40 * time.Millisecond })},
	{"last-locomotive-forgotten", "the refresh loop ends one short: with several locomotives the last one is never refreshed",
		[]string{"RATE-002"},
		flaw(func(f *flaws) { f.lastForgotten = true })},
}
