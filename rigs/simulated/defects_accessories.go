package simulated

// accessoryDefects are ways in which accessories and signals go wrong.
var accessoryDefects = []Defect{
	{"accessory-high-bits", "the high bits of an accessory address are not complemented",
		[]string{"ACC-001"},
		flaw(func(f *flaws) { f.accessoryPlain = true })},
	{"accessory-outputs-swapped", "the two outputs of a pair are exchanged",
		[]string{"ACC-001"},
		flaw(func(f *flaws) { f.accessorySwapped = true })},
	{"aspect-shifted", "the aspect of an extended accessory is one bit too far left",
		[]string{"ACC-002"},
		flaw(func(f *flaws) { f.aspectShifted = true })},
}
