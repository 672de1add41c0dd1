package simulated

import "time"

// powerDefects are ways in which a track begins otherwise than it should.
var powerDefects = []Defect{
	{"few-resets", "8 reset packets at power-up",
		[]string{"PWR-001"},
		func(s *settings) { s.powerUpResets = 8 }},
	{"few-idles", "3 idle packets after the reset packets at power-up",
		[]string{"PWR-001"},
		func(s *settings) { s.powerUpIdles = 3 }},
	{"off-forgets", "what was known is forgotten when the power of the main track goes, and it comes back as if it were not",
		[]string{"PWR-002"},
		flaw(func(f *flaws) { f.offForgets = true })},
	{"starts-in-packet", "power comes on with the rest of a packet, without a preamble",
		[]string{"PWR-003"},
		flaw(func(f *flaws) { f.startsTorn = true })},
	{"boot-enables", "the bridge is enabled before the timer runs: at a start the main track stands at one polarity for 120 ms",
		[]string{"SIG-017"},
		flaw(func(f *flaws) { f.bootHolds = 120 * time.Millisecond })},
	{"reset-holds", "a reset stops the bit timer 15 ms before it takes the power off",
		[]string{"SIG-018"},
		flaw(func(f *flaws) { f.resetHolds = 15 * time.Millisecond })},
}
