// Package bench is the rig of a real station, reached over a real link: a serial port or a network connection.
//
// What stands at the tracks is a side of its own (side.go). Four kinds there are: nothing, and then every requirement that looks at
// a track is not fitted; a capture probe with a link of its own (probed.go), or a logic analyser or a capture file in its
// place, which can only look (eyes.go); and a whole simulated bench inside this process, whose station is spoken to over the real link
// all the same (real.go, virtual.go). That proves the link, and lets the suites run over one where no station is at hand.
//
// # With a probe
//
// The clock of the rig is the probe's: the time up to which it has told all (probed.Now). It moves while somebody waits on the
// rig or its link (probed_line.go), and whoever waits hands the stream on: to those who listen to a track, and to the fake
// decoders on it. What these demand is laid across the rails by the probe's load, in steps, always the loop time later
// (playout.go): the demand of the instant t is there at t + loop time, with exact widths, however long the way over the
// link happened to take. A decoder's own delay is shortened by as much. Where the loop is too slow for the window in which a station listens
// (loop.go), the probe can acknowledge by itself (reflex.go), or there is no fake decoder and the rig says why (abilities.go).
//
// A demand that comes too late, a stretch that is lost, a short that the probe opened by itself: the rig counts them
// (harness.Fallible), and what was measured meanwhile is inconclusive, never a failure of the station. When the probe is
// lost the run ends, and the probe makes itself safe within 100 ms.
//
// # Inside
//
// The station inside lives in one of two paces. In real pace a second of its time takes a second. In virtual pace its time passes
// at once, and only the bytes take the way over the real link, so that a long run takes seconds and gives the same
// results as the simulated rig. With a table [probe] beside it, station and probe are served at a pseudo-terminal each and live on
// their own (box.go): what the rig is connected to then cannot be told from a real bench.
package bench
