package simulated

import (
	"time"

	"periph.io/x/conn/v3/physic"
)

// voltDefects are ways in which the voltage of a track is not what it should be, and its signal depends on what is drawn.
var voltDefects = []Defect{
	{"weak-supply", "a supply of 10.3 V: 9.1 V at the rails with nothing on them, 8.2 V near the current that must not trip",
		[]string{"SIG-009"},
		flaw(func(f *flaws) { f.supply = 10300 * physic.MilliVolt })},
	{"strong-supply", "a supply of 24 V: 22.8 V at the rails with nothing on them",
		[]string{"SIG-009"},
		flaw(func(f *flaws) { f.supply = 24 * physic.Volt })},
	{"weak-polarity", "one switch of the bridges drops 7 V: the one polarity has 14 V, the other less than 8",
		[]string{"SIG-009"},
		flaw(func(f *flaws) { f.uneven = 7 * physic.Volt })},
	{"slow-edges", "the gates of the bridge are charged through too large a resistor: it takes 15 µs from one polarity to the other, 2 V/µs",
		[]string{"SIG-010"},
		flaw(func(f *flaws) { f.slowRise = 15 * time.Microsecond })},
	{"kinked-edges", "both switches of a half-bridge are off for a moment while it swings: at 3.5 V the voltage runs back by a volt",
		[]string{"SIG-010"},
		flaw(func(f *flaws) { f.kink, f.slowRise = 3500*physic.MilliVolt, 2*time.Microsecond })},
	{"timing-with-load", "above an ampere on the main track, half-bits last 4.5 µs longer now and then",
		[]string{"SIG-020"},
		flaw(func(f *flaws) { f.loadStretch, f.loadFrom = 4500*time.Nanosecond, counts(1.0) })},
	{"timing-with-decoder", "as soon as anything is drawn from the main track, half-bits last 4.5 µs longer now and then",
		[]string{"SIG-019", "SIG-020"},
		flaw(func(f *flaws) { f.loadStretch, f.loadFrom = 4500*time.Nanosecond, counts(0.015) })},
}
