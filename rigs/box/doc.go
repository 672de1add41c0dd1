// Package box is a bench in a box: the firmware of a station and the firmware of a capture probe, each on a processor of its
// own, in lock step, with the rails of package rails between them. What the station drives reaches the comparators of the
// probe at its very cycle, the converters of both see the current of the instant at which they sample, and the probe's load,
// shorts and switch of the supply act on the rails and on the station when its pins move. The serial port of each is a line:
// in virtual time, or served to other programs in step with the wall clock, so that they have a whole bench before them with
// no hardware at all.
//
// The simulator is behind the build tag simavr and cgo. Without the tag Open says what is missing.
package box
