package simulated

import "time"

// linkDefects are ways in which what comes over the line to the host reaches the track, and ways in which the line is lost.
var linkDefects = []Defect{
	{"wide-characters", "the serial interrupt looks characters above 127 up in a table: each holds the bit timer up by 8 µs",
		[]string{"SIG-011"},
		flaw(func(f *flaws) { f.wideStretch = 8 * time.Microsecond })},
	{"overrun-hangs-bits", "an input without room is emptied with interrupts off: the main track stands at one polarity for 25 ms",
		[]string{"SIG-012"},
		flaw(func(f *flaws) { f.overrunHolds = 25 * time.Millisecond })},
	{"waits-for-line-end", "the main loop waits for the rest of a command that has begun: the track goes without packets meanwhile",
		[]string{"SIG-013"},
		flaw(func(f *flaws) { f.partStarves = true })},
	{"error-log", "each command that is none is noted in the EEPROM with interrupts off, four bytes of 3.4 ms each",
		[]string{"SIG-011", "SIG-014"},
		flaw(func(f *flaws) { f.errorHolds = 13600 * time.Microsecond })},
	{"late-while-reading", "each reading of the converter holds the bit timer of the main track up by 5 µs while a CV is read",
		[]string{"SIG-015"},
		flaw(func(f *flaws) { f.readingStretch = 5 * time.Microsecond })},
	{"host-gone", "a host that goes is waited for with interrupts off, and one polarity stands for 20 ms",
		[]string{"SIG-016"},
		flaw(func(f *flaws) { f.hostLeavesHolds = 20 * time.Millisecond })},
	{"nul-ends-all", "a NUL is put into the ring as the mark of its end: no character is taken any more",
		[]string{"LNK-002"},
		flaw(func(f *flaws) { f.nulStops = true })},
	{"garbage-drives", "a command that is none falls through to the next in the list: a locomotive starts",
		[]string{"LNK-002"},
		flaw(func(f *flaws) { f.unknownDrives = true })},
	{"hears-itself", "an answer that comes back is told to all who listen, itself among them, and so for ever",
		[]string{"LNK-002"},
		flaw(func(f *flaws) { f.heardAgain = true })},
}
