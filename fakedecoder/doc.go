// Package fakedecoder is the decoder that is not there: track edges in, demanded current out.
//
// A Decoder lives on edges alone, as a real one does. It reads bits with the limits that S-9.1 sets for decoders, checks
// packets, answers to its addresses, enters and leaves service mode by the rules of S-9.2.3 C, keeps CVs, and says at
// any time what current it draws:
//
//	decoder, err := fakedecoder.New(fakedecoder.Default())
//	…
//	decoder.Edge(signal.Edge{Time: t, Level: signal.Positive})
//	i := decoder.Current(t)                 // exact
//	next, more := decoder.NextChange(t)     // no need to ask again before, unless an edge comes first
//
// What it is like is a Config; the decoders that builders meet are named personalities. Limits and rules cite the
// standard. Figures that no standard gives are marked as invented, or as common practice without a source.
//
// It is a mobile decoder without bi-directional communication. It has no momentum, no packet time-out (CV11) and no
// conversion to direct current, and one page of CV257 to CV512 only.
package fakedecoder
