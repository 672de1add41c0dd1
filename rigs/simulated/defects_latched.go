package simulated

// latchedDefects are ways in which a track that has tripped comes back otherwise than on command.
var latchedDefects = []Defect{
	{"latch-let-go", "a track that has tripped comes back by itself, though it is to stay off",
		[]string{"REC-001"},
		func(s *settings) { s.latched = false }},
	{"latched-for-good", "a track that has tripped is taken for one that is on: a command to switch it on does nothing",
		[]string{"REC-001"},
		flaw(func(f *flaws) { f.deafToOn = true })},
	{"latch-forgets", "with the trip that latches the main track, its refresh list is cleared",
		[]string{"REC-003"},
		flaw(func(f *flaws) { f.forgetsOnTrip = true })},
}
