// Package audit judges what a track carries by nothing but its signal. An Audit listens to one track, live or from a file, and
// holds what it hears against every requirement that the catalogue marks as offline; no command, no current and no station is
// needed for that.
//
// Each requirement has a judge of its own, a short file with the rule, its source and the quantities that it measures; the numbers are
// those of the catalogue. Judges work as the signal streams: their memory does not depend on how long it is, and in the steady state
// they allocate nothing.
//
//	a := audit.New(audit.Options{Track: station.Main})
//	a.Edges(edges) // as often as there are some
//	a.Finish(end)
//	a.Report("PKT-005").Into(&result, requirement, budgets)
//
// What the station did not do is not held against it: a stretch that the probe has lost, a capture that begins or ends within a
// packet, a track that is switched off, and what power does while somebody lays a short or takes the supply away (see Hands).
package audit
