package analyser

import (
	"math"
	"slices"
	"time"
)

// drift compares the samples with the host's clock. Samples arrive late by a time that is never less than some least, so
// the earliest of each window lie on a line, and its slope is how the two clocks go.
type drift struct {
	begun  bool
	window time.Duration // host time at which the window under way began
	least  time.Duration // of the window: host time less sample time
	first  lag
	last   lag
	steps  time.Duration // the mean step from one window to the next, as a measure of scatter
	count  int
	recent [2 * sure]time.Duration // the newest windows
	filled int
}

// sure is for how many windows samples have to be behind until they count as missing. Our own choice.
const sure = 3

type lag struct{ at, behind time.Duration }

// driftWindow is long enough to have at least one chunk that was not held up. Our own choice.
const driftWindow = time.Second

// add takes that at host time the samples up to a time had come. It returns by how much the samples have fallen behind
// for good, when that has become sure: a host that was busy catches up.
func (d *drift) add(host, samples time.Duration) (behind time.Duration) {
	now := host - samples
	switch {
	case !d.begun:
		d.begun, d.window, d.least = true, host, now
		return 0
	case host-d.window < driftWindow:
		d.least = min(d.least, now)
		return 0
	}
	this := lag{d.window + driftWindow/2, d.least}
	if d.count == 0 {
		d.first = this
	} else {
		d.steps += (this.behind - d.last.behind).Abs()
	}
	d.last = this
	d.count++
	d.window, d.least = host, now
	copy(d.recent[:], d.recent[1:])
	d.recent[len(d.recent)-1] = this.behind
	if d.filled = min(d.filled+1, len(d.recent)); d.filled < len(d.recent) {
		return 0
	}
	before, after := slices.Min(d.recent[:sure]), slices.Min(d.recent[sure:])
	return max(after-before, 0)
}

// fell takes note that samples are missing: what was before is no measure of what comes.
func (d *drift) fell() { *d = drift{} }

// A Drift says how the analyser's clock goes by the host's.
type Drift struct {
	Span time.Duration // over which it was seen
	// PPM is by how many millionths the analyser's clock is faster than the host's. U is what is not known of it, by the
	// scatter of the arrivals; that of the host's own clock is not in it.
	PPM, U float64
}

func (d *drift) drift() Drift {
	span := d.last.at - d.first.at
	if d.count < 3 || span <= 0 {
		return Drift{U: math.Inf(1)}
	}
	slope := -float64(d.last.behind-d.first.behind) / float64(span)
	scatter := 2 * float64(d.steps) / float64(d.count-1) / float64(span)
	return Drift{Span: span, PPM: 1e6 * slope, U: 1e6 * scatter}
}
