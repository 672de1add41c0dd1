package conformance

import (
	"bufferstop/suites/examination"
)

// S-9.1 A: t1, each half of a one.
func oneHalfBits(x *examination.Check) {
	x.Spread("one half-bit", &traffic(x).Statistics().OneHalf)
}

// S-9.1 A: t1d, the difference of the two halves of a one.
func halvesOfAOne(x *examination.Check) {
	x.SpreadOfDifferences("difference of the halves of a one", &traffic(x).Statistics().OneDifference)
}

// S-9.1 A: t0, each half of a zero.
func zeroHalfBits(x *examination.Check) {
	x.Spread("zero half-bit", &traffic(x).Statistics().ZeroHalf)
}

// S-9.1 A: both halves of a zero together.
func wholeZeros(x *examination.Check) {
	x.Spread("whole zero", &traffic(x).Statistics().ZeroTotal)
}
