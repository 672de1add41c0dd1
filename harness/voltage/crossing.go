package voltage

import (
	"time"

	"periph.io/x/conn/v3/physic"
)

const (
	// Band is how far on either side of zero the slew is measured: S-9.1 B, Table 2 (2020).
	Band = 4 * physic.Volt
	// settledPart is the part at either end of a trace over which the settled voltage is averaged. Our own choice.
	settledPart = 16
	// backwards is what the voltage has to go back by on its way to count as running back: many times what a converter of ten
	// bits or more makes of a slope. Our own choice.
	backwards = 250 * physic.MilliVolt
	// smoothing is over how many samples the highest voltage is averaged, so that it is not the noise of a single one. Our own
	// choice.
	smoothing = 3
)

// A Crossing is what was measured of one change of polarity.
type Crossing struct {
	// At is when the voltage passed zero, to the sample.
	At time.Duration
	// Before and After are the voltages on either side once they stand still. They differ in sign.
	Before, After physic.ElectricPotential
	// Highest is the highest voltage of either polarity, and Lowest that of the other side: both as magnitudes.
	Highest, Lowest physic.ElectricPotential
	// Took is the time from where the voltage first left the Band's edge to where it reached the other for good; nothing it did
	// between is taken off. It is never shorter than two intervals, which is as fast as can be told. Crossed is false, and Took
	// the length of the trace, when it did not come from edge to edge.
	Took    time.Duration
	Crossed bool
	// Distortion is the greatest distance from zero at which the voltage ran back on its way through the Band; zero when it did not.
	Distortion physic.ElectricPotential
}

// Slew is how fast the voltage passed through the Band, in volts a microsecond. For one that did not get through it is an upper bound.
func (c Crossing) Slew() float64 {
	if c.Took <= 0 {
		return 0
	}
	return 2 * float64(Band) / float64(physic.Volt) / (float64(c.Took) / float64(time.Microsecond))
}

// Measure looks at a trace. One of fewer than 32 samples, or that begins and ends on one side of zero, is none of a change of
// polarity: ok is false.
func Measure(t Trace) (c Crossing, ok bool) {
	n := len(t.Volts)
	if n < 2*settledPart || t.Interval <= 0 {
		return Crossing{}, false
	}
	c.Before, c.After = mean(t.Volts[:n/settledPart]), mean(t.Volts[n-n/settledPart:])
	if c.Before == 0 || c.After == 0 || (c.Before > 0) == (c.After > 0) {
		return Crossing{}, false
	}
	r := rising{t.Volts, 1}
	if c.After < 0 {
		r.sign = -1
	}
	high, low := r.extremes()
	c.Highest, c.Lowest = max(high, -low), min(high, -low)
	r.cross(&c, t)
	return c, true
}

// rising is a trace turned so that it begins negative and ends positive.
type rising struct {
	volts []physic.ElectricPotential
	sign  physic.ElectricPotential
}

func (r rising) at(i int) physic.ElectricPotential { return r.sign * r.volts[i] }

// extremes are the highest and the lowest voltage, of a few samples each.
func (r rising) extremes() (high, low physic.ElectricPotential) {
	for i := 0; i+smoothing <= len(r.volts); i++ {
		v := r.sign * mean(r.volts[i:i+smoothing])
		if i == 0 || v > high {
			high = v
		}
		if i == 0 || v < low {
			low = v
		}
	}
	return high, low
}

// cross measures the way through the Band.
func (r rising) cross(c *Crossing, t Trace) {
	n := len(r.volts)
	leaves, reaches, zero := -1, -1, -1
	for i := range n {
		if leaves < 0 && r.at(i) > -Band {
			leaves = i
		}
		if r.at(i) < 0 {
			zero = i
		}
		if r.at(i) < Band {
			reaches = i + 1
		}
	}
	c.At = t.Start + time.Duration(min(zero+1, n-1))*t.Interval
	c.Took = time.Duration(n-1) * t.Interval
	if leaves < 1 || reaches >= n {
		return // it was never outside on the one side or on the other
	}
	c.Crossed = true
	from := r.between(leaves-1, -Band)
	to := r.between(reaches-1, Band)
	c.Took = max(time.Duration((to-from)*float64(t.Interval)), 2*t.Interval)
	top := r.at(leaves - 1)
	for i := leaves; i < reaches; i++ {
		v := r.at(i)
		if top = max(top, v); top-v > backwards {
			c.Distortion = max(c.Distortion, min(abs(top), Band), min(abs(v), Band))
		}
	}
}

// between is where a level is passed after sample i, in samples, on the straight line to the next.
func (r rising) between(i int, level physic.ElectricPotential) float64 {
	v, next := r.at(i), r.at(i+1)
	if next == v {
		return float64(i)
	}
	return float64(i) + min(max(float64(level-v)/float64(next-v), 0), 1)
}

func mean(volts []physic.ElectricPotential) physic.ElectricPotential {
	sum := physic.ElectricPotential(0)
	for _, v := range volts {
		sum += v
	}
	return sum / physic.ElectricPotential(len(volts))
}

func abs(v physic.ElectricPotential) physic.ElectricPotential { return max(v, -v) }
