// Package signal turns the edges of a DCC track into bits, packets and timing statistics, and reads and writes them as
// VCD files.
//
// The way of the data: an [Edge] says when the track voltage changed and to which [Level]. Two reversals bound a
// half-bit; two half-bits of the same kind are a bit; a preamble of ones, a start bit and bytes are a packet (S-9.1 A and
// S-9.2 A). A [Receiver] walks that way edge by edge:
//
//	receiver := signal.NewReceiver(signal.StationReading(), sink)
//	receiver.Edges(edges)        // as often as there are some
//	receiver.Finish(end)         // the capture is over
//	receiver.Statistics()        // what was measured on the way
//
// The sink is told of every [Packet], good or faulty, and of every [Unusable] stretch. Nothing is lost silently: each
// interval between two edges belongs to a packet, to a run of preamble ones, or to an Unusable report. Two things stay
// unreported because they are ordinary: the piece of a half-bit that is seen when a capture begins or power comes back, and
// the preamble itself.
//
// The same signal is read in two ways. [StationReading] measures: it takes whatever can be read at all and counts what
// is outside the limits of a station. [DecoderReading] is as strict as a decoder may be: what no decoder has to accept, it
// does not accept.
//
// All times are whole nanoseconds since the start of the rig or capture. DCC has no polarity, so a receiver works either
// way up, and it finds by itself which half-bits belong together.
//
// [OpenCapture] opens a capture file, [VCDReader] reads one from a stream, and [VCDWriter] writes one.
package signal
