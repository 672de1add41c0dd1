// Package live is what somebody who looks at a track wants to know of it now: the packets with their meanings, repeats
// folded; rates and half-bits of the last seconds beside those since the beginning; the current as a strip chart; trips and
// acknowledges. It knows no terminal: a view asks for a [Snapshot].
//
//	track := live.NewTrack(live.Options{})
//	track.Edges(edges)      // as often as there are some; it is a harness.Listener
//	track.Samples(samples)
//	track.Advance(now)      // all before now has been handed over
//	track.Snapshot(&shown)
//
// A Track needs the same memory for a second and for a month, and allocates nothing for an edge or a sample. What it
// tells depends only on what it was handed and on the time, not on how that was cut into batches.
package live
