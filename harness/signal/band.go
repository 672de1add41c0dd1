package signal

import (
	"math"
	"time"
)

// A Band is a range of durations with both ends in it.
type Band struct{ Low, High time.Duration }

// Contains reports whether d is in the band.
func (b Band) Contains(d time.Duration) bool { return d >= b.Low && d <= b.High }

// Unlimited is the upper end of a band, and the high end of a limit, that has none.
const Unlimited = math.MaxInt64
