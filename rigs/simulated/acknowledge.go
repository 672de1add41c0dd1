package simulated

import "time"

// detector looks for the acknowledge of a decoder in the readings of the converter: an increase over the current drawn
// before, S-9.2.3 D (July 2012): at least 60 mA for 6 ms ± 1 ms.
//
// The baseline is averaged over each of the last three reset packets before the service packets, and the middle one of
// the three averages is used, so that a single disturbance does not lift it. A pulse has to begin after the window was
// opened: what is above the threshold already when the window opens is not an acknowledge.
type detector struct {
	rise      int // counts above the baseline
	period    time.Duration
	min, max  time.Duration
	top       int // counts above the baseline that are no acknowledge any more, zero for none
	absolute  bool
	gap       time.Duration // an acknowledge may fall below the threshold for this long: motors are chopped
	alwaysOn  bool
	sum, n    int
	blocks    [3]int // averages, in 1/16 counts
	baseline  int    // 1/16 counts
	open      bool
	shut      bool // until the next sequence
	armed     bool // was below the threshold since the window opened
	above     time.Duration
	below     time.Duration
	overTop   bool
	completed bool // a pulse of the right width was seen
}

func newDetector(s *settings) detector {
	return detector{
		rise: s.acknowledgeRise, period: s.samplePeriod, min: s.acknowledgeMin, max: s.acknowledgeMax,
		top: s.acknowledgeTop, absolute: s.flaws.absoluteThreshold, alwaysOn: s.flaws.earlyWindow,
		gap: 800 * time.Microsecond,
	}
}

// restart forgets everything but the settings, at the begin of a sequence.
func (d *detector) restart() {
	d.sum, d.n = 0, 0
	d.clear()
	d.open, d.shut = false, false
}

func (d *detector) clear() {
	d.armed, d.above, d.below, d.overTop, d.completed = false, 0, 0, false, false
}

// block ends one stretch of the baseline.
func (d *detector) block() {
	if d.n == 0 {
		return
	}
	d.blocks = [3]int{d.blocks[1], d.blocks[2], d.sum * 16 / d.n}
	d.sum, d.n = 0, 0
	a, b, c := d.blocks[0], d.blocks[1], d.blocks[2]
	d.baseline = max(min(a, b), min(max(a, b), c))
}

// openWindow begins to listen, S-9.2.3 D: at the end bit of the second service packet.
func (d *detector) openWindow() {
	if d.open {
		return
	}
	d.open = true
	if !d.alwaysOn {
		d.clear()
	}
}

// shutWindow ends the listening before its time; flawed firmware only.
func (d *detector) shutWindow() { d.shut = true }

// reading takes one reading of the converter.
func (d *detector) reading(counts int) {
	if d.shut {
		return
	}
	if !d.open {
		d.sum += counts
		d.n++
		if !d.alwaysOn {
			return
		}
	}
	over := counts*16 - d.baseline
	if d.absolute {
		over = counts * 16
	}
	if d.top > 0 && over > d.top*16 {
		d.overTop = true
	}
	if over < d.rise*16 {
		d.armed = true
		if d.above > 0 {
			d.below += d.period
			if d.below > d.gap {
				d.end()
			}
		}
		return
	}
	if !d.armed {
		return
	}
	d.above += d.below + d.period
	d.below = 0
	if d.max == 0 && d.top == 0 && d.above >= d.min {
		d.completed = true
	}
}

// end judges a pulse that is over.
func (d *detector) end() {
	if d.above >= d.min && (d.max == 0 || d.above <= d.max) && !d.overTop {
		d.completed = true
	}
	d.above, d.below, d.overTop = 0, 0, false
}

// busy reports that a pulse has begun and is not judged yet.
func (d *detector) busy() bool { return d.open && !d.shut && !d.completed && d.above > 0 }

// acknowledged reports that the decoder has acknowledged.
func (d *detector) acknowledged() bool { return d.completed }
