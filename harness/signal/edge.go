package signal

import "time"

// Level is the state of a track output: which way its voltage points, or that there is none.
type Level int8

// The three levels of a track. DCC has no polarity, so which of Positive and Negative is which depends only on how the
// probe is connected. Off is how a power cut and a bi-directional cutout look.
const (
	Negative Level = -1
	Off      Level = 0
	Positive Level = 1
)

// String names the level as reports print it.
func (l Level) String() string {
	switch l {
	case Positive:
		return "positive"
	case Negative:
		return "negative"
	case Off:
		return "off"
	}
	return "invalid level"
}

// An Edge is one change of the track: from Time on it is at Level. Time counts from the start of the rig or of the
// capture, in whole nanoseconds. For a change of polarity it is the zero crossing (S-9.1 footnotes 2 and 3, 2020).
type Edge struct {
	Time  time.Duration
	Level Level
}
