package box

import (
	"math"
	"math/bits"
	"time"
)

// A clock is the crystal of a processor. It is right to a millihertz, which at 16 MHz is less than a ten-thousandth of a
// millionth.
type clock struct{ milliHertz int64 }

// clockOf is a crystal of this frequency that is faster by some millionths.
func clockOf(hertz int64, ppm float64) clock {
	return clock{int64(math.Round(float64(hertz) * 1000 * (1 + ppm*1e-6)))}
}

// perNano are the millihertz of one cycle in a nanosecond.
const perNano = 1_000_000_000_000

// cycles is the first cycle that begins not before t.
func (c clock) cycles(t time.Duration) uint64 {
	high, low := bits.Mul64(uint64(t), uint64(c.milliHertz))
	low, carry := bits.Add64(low, perNano-1, 0)
	quotient, _ := bits.Div64(high+carry, low, perNano)
	return quotient
}

// instant is when a cycle begins, to the nanosecond below.
func (c clock) instant(cycle uint64) time.Duration {
	high, low := bits.Mul64(cycle, perNano)
	quotient, _ := bits.Div64(high, low, uint64(c.milliHertz))
	return time.Duration(quotient)
}
