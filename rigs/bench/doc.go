// Package bench is the rig of a real station, reached over a real link: a serial port or a network connection.
//
// What stands at the tracks is a side of its own (side.go). Until there is a probe with a port of its own, a bench has
// none, and every requirement that looks at a track is not fitted; or it has a whole simulated bench inside this process,
// whose station is spoken to over the real link all the same (inside.go). That proves the link, and lets the suites run
// over one where no station is at hand.
//
// The station inside lives in one of two paces. In real pace (real.go) a second of its time takes a second. In virtual
// pace (virtual.go) its time passes at once, and only the bytes take the way over the real link, so that a long run takes
// seconds and gives the same results as the simulated rig.
package bench
