package signal

import "time"

// An Unusable is one stretch of the signal that could not be used, from Start to End, and why. Adjoining stretches are
// reported as one, with the reason that came first; an off state is always reported by itself.
type Unusable struct {
	Start, End time.Duration
	Reason     Reason
}

// Reason says why a stretch of the signal could not be used. It reads well in a report.
type Reason string

// Why a stretch could not be used.
const (
	// ReasonOff: the track had no voltage.
	ReasonOff Reason = "off"
	// ReasonCutByOff: the rest of a packet that an off state cut in two.
	ReasonCutByOff Reason = "cut by off"
	// ReasonOffInEndBit: a packet of which only the last edge is missing, since the track went off where its end bit ends.
	ReasonOffInEndBit Reason = "off at the end of the end bit"
	// ReasonGlitch: two reversals closer together than any half-bit.
	ReasonGlitch Reason = "glitch"
	// ReasonNoBand: a half-bit too long or too short to be half a one or half a zero.
	ReasonNoBand Reason = "half-bit in no band"
	// ReasonHalvesDiffer: the two halves of a one differ by more than a decoder has to accept.
	ReasonHalvesDiffer Reason = "halves do not match"
	// ReasonFraming: half a one beside half a zero, or bytes without end.
	ReasonFraming Reason = "framing"
	// ReasonPreambleTooShort: a start bit after too few ones.
	ReasonPreambleTooShort Reason = "preamble too short"
	// ReasonLost: the probe lost this stretch.
	ReasonLost Reason = "lost"
	// ReasonBackwards: an edge was earlier than the one before it.
	ReasonBackwards Reason = "time runs backwards"
	// ReasonCutAtStart: the capture begins in the middle of a packet.
	ReasonCutAtStart Reason = "cut at the start"
	// ReasonCutAtEnd: the capture ends in the middle of a packet.
	ReasonCutAtEnd Reason = "cut at the end"
)
