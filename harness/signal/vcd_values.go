package signal

import (
	"math"
	"strconv"
)

// levelOf is the level that the digits of a vector mean, the leftmost first, each one of 0 1 x X z Z. With bit >= 0 it is
// that of one bit, counted from the right; where the digits do not reach, they are continued to the left by 0, or by the first
// digit when that is x or z (IEEE 1364-2005, 18.2.1, table 18-1).
func levelOf(digits []byte, bit int) Level {
	if bit >= 0 {
		if bit < len(digits) {
			return digitLevel(digits[len(digits)-1-bit])
		}
		if digitLevel(digits[0]) == Off {
			return Off
		}
		return Negative
	}
	level := Negative
	for _, c := range digits {
		switch digitLevel(c) {
		case Positive:
			return Positive
		case Off:
			level = Off
		}
	}
	return level
}

func digitLevel(c byte) Level {
	switch c {
	case '1':
		return Positive
	case '0':
		return Negative
	}
	return Off
}

// parseReal reads a number as %.16g writes it.
func parseReal(text []byte) (float64, error) {
	v, err := strconv.ParseFloat(string(text), 64)
	if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
		err = strconv.ErrRange
	}
	return v, err
}
