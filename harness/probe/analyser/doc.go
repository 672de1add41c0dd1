// Package analyser makes a capture probe of any logic analyser that sigrok-cli can use: it sees edges and has no hands.
//
// The program runs for as long as the probe is open and writes samples as raw bytes. Of its formats that is the one that costs least, and
// the only one in which a track without edges is still seen to be there: every sample is a byte or a few, so its number is
// its time, and silence means that the analyser has stopped. How many bytes a sample has and which bit is which channel,
// the raw bytes do not say; a short capture into a session file tells both before, and the sample rate that the driver
// really chose. README.md has the figures.
//
// A channel is read in one of three ways ([Pins]): the sign of the track voltage alone; the sign, and a channel that
// tells when there is no voltage; or one channel for each polarity. The first cannot tell off from a level.
//
// A [Sampler] finds the edges in the samples. Time is the number of the sample by the rate, so an edge is known to one
// period of it, and the Hello's clock is that rate.
package analyser
