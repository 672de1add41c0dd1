package fakedecoder

import (
	"math/bits"
	"time"

	"periph.io/x/conn/v3/physic"
)

// acknowledges keeps count of the acknowledge pulses that were due.
type acknowledges struct {
	due int64
	end time.Duration // of the latest pulse
}

// A pulse is a growth of the load for a time.
type pulse struct {
	start, full, end time.Duration // full: where the ramp ends
	amplitude        physic.ElectricCurrent
	ripple           physic.ElectricCurrent
	quarter          time.Duration // of a ripple period
	chop             chopping
	acknowledge      bool // ours, not noise from Pulse
}

// chopping follows the parts of a chopped pulse as time goes on.
type chopping struct {
	Chop
	open  bool          // in a part that is off
	until time.Duration // end of the part
	count uint64
}

// acknowledge gives the pulse that answers a packet, at t plus the configured delay. S-9.2.3 D (July 2012).
func (d *Decoder) acknowledge(t time.Duration) {
	a := &d.config.Acknowledge
	start := t + max(a.Delay-d.config.Lead, 0)
	if a.Amplitude == 0 || start < d.given.end {
		return // a pulse cannot begin while the motor is still on for another
	}
	d.given.due++
	if a.Dropout > 0 && d.given.due%int64(a.Dropout) == 0 {
		d.counters.Dropped++
		return
	}
	d.counters.Acknowledges++
	p := pulse{
		start:       start,
		full:        start + a.Rise,
		end:         start + a.Width,
		amplitude:   a.Amplitude,
		acknowledge: true,
	}
	if a.Ripple > 0 {
		p.ripple = a.Ripple
		p.quarter = max(a.RippleFrequency.Period()/4, 1)
	}
	if a.Chop.On > 0 {
		p.chop = chopping{Chop: a.Chop, count: uint64(d.given.due) << 32}
		p.chop.until = start + p.chop.length(a.Chop.On)
	}
	d.given.end = p.end
	d.pulses = append(d.pulses, p)
}

// Pulse adds a pulse that nobody asked for, as noise: from at on, amplitude more current for width. It is for the suites. It
// survives a loss of power, but does not show while there is none. A width or an amplitude that is not positive adds nothing.
func (d *Decoder) Pulse(at, width time.Duration, amplitude physic.ElectricCurrent) {
	if width <= 0 || amplitude <= 0 {
		return
	}
	at -= d.config.Lead
	d.pulses = append(d.pulses, pulse{start: at, full: at, end: at + width, amplitude: min(amplitude, greatestCurrent)})
}

// current is what the pulse adds at t.
func (p *pulse) current(t time.Duration) physic.ElectricCurrent {
	if t < p.start || t >= p.end {
		return 0
	}
	if p.chop.On > 0 {
		p.chop.advance(t)
		if p.chop.open {
			return 0
		}
	}
	if t < p.full {
		return scale(p.amplitude, t-p.start, p.full-p.start)
	}
	if p.ripple == 0 {
		return p.amplitude
	}
	return p.amplitude + triangle(p.ripple, t-p.full, p.quarter)
}

// triangle is a triangle of the peak-to-peak size at t after its rising zero.
func triangle(size physic.ElectricCurrent, t, quarter time.Duration) physic.ElectricCurrent {
	phase := t % (4 * quarter)
	switch {
	case phase < quarter:
		return scale(size/2, phase, quarter)
	case phase < 3*quarter:
		return scale(size/2, 2*quarter-phase, quarter)
	}
	return scale(size/2, phase-4*quarter, quarter)
}

func scale(i physic.ElectricCurrent, part, whole time.Duration) physic.ElectricCurrent {
	return physic.ElectricCurrent(float64(i) * float64(part) / float64(whole))
}

// next is the next instant after t at which the pulse jumps or bends. The pulse has not ended at t.
func (p *pulse) next(t time.Duration) time.Duration {
	if t < p.start {
		return p.start
	}
	next := p.end
	if t < p.full {
		next = min(next, p.full)
	} else if p.ripple > 0 {
		// Bends at one quarter, three quarters, five quarters and so on.
		half := 2 * p.quarter
		next = min(next, p.full+p.quarter+(t-p.full+p.quarter)/half*half)
	}
	if p.chop.On > 0 {
		p.chop.advance(t)
		next = min(next, p.chop.until)
	}
	return next
}

// advance moves on to the part that t lies in.
func (c *chopping) advance(t time.Duration) {
	for t >= c.until {
		c.count++
		c.open = !c.open
		mean := c.On
		if c.open {
			mean = c.Off
		}
		c.until += c.length(mean)
	}
}

// length is the length of the present part: the mean plus a deviation that seed and count alone decide.
func (c *chopping) length(mean time.Duration) time.Duration {
	if c.Jitter == 0 {
		return mean
	}
	span := uint64(2*c.Jitter + 1)
	high, _ := bits.Mul64(mix(c.Seed^mix(c.count)), span)
	return mean - c.Jitter + time.Duration(high)
}

// mix spreads the bits of x (the finaliser of the SplitMix64 generator: Steele, Lea and Flood, 2014).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
