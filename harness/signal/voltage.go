package signal

import (
	"math"
	"time"
)

// The voltages between which a track has no clear polarity. At polarityVolts the standard's region of steep slope ends
// (S-9.1 B, Table 2, 2020), and the lowest track voltage is well above. Below nearZeroVolts lies the distortion that is allowed
// while the voltage crosses zero.
const (
	polarityVolts = 4.0
	nearZeroVolts = 2.0
)

// voltage turns samples of a track voltage into edges. A reversal is where the voltage crosses zero: between two samples
// on the way from one polarity to the other, in proportion when they are close together, at the second when the file has
// nothing between them (a value change dump holds a value until the next). A voltage that stays near zero is off.
type voltage struct {
	level     Level
	near      bool // the newest sample is near zero
	nearSince time.Duration
	crossed   time.Duration // the newest change of sign
	at        time.Duration // the newest sample
	volts     float64
	begun     bool
}

func newVoltage() voltage { return voltage{level: unknown} }

// sample takes the next sample, writes the edges that it makes certain to out and returns how many: at most two.
func (v *voltage) sample(t time.Duration, volts float64, out []Edge) int {
	n := v.end(t, out)
	if v.begun && (v.volts < 0) != (volts < 0) {
		v.crossed = t
		if d := t - v.at; d <= crossing {
			share := v.volts / (v.volts - volts) // neither is NaN: the signs differ, or one is zero and the other below
			v.crossed = v.at + time.Duration(math.Round(float64(d)*share))
		}
	}
	v.at, v.volts, v.begun = t, volts, true
	size := math.Abs(volts)
	if size < nearZeroVolts {
		if !v.near {
			v.near, v.nearSince = true, t
		}
		return n
	}
	v.near = false
	if size < polarityVolts {
		return n
	}
	level := Positive
	if volts < 0 {
		level = Negative
	}
	if level == v.level {
		return n
	}
	edge := Edge{t, level}
	if v.level == -level {
		edge.Time = v.crossed
	}
	v.level = level
	out[n] = edge
	return n + 1
}

// end takes note that the voltage has stayed what it was until t. It writes at most one edge to out.
func (v *voltage) end(t time.Duration, out []Edge) int {
	if !v.near || v.level == Off || t-v.nearSince < crossing {
		return 0
	}
	v.level = Off
	out[0] = Edge{v.nearSince, Off}
	return 1
}
