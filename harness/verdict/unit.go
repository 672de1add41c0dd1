package verdict

import (
	"math"
	"strconv"
	"strings"
)

// A Unit is the unit in which a measurement keeps its numbers. Records hold its text form.
type Unit string

// The units that the bench measures in. Times are kept in nanoseconds and printed in the unit that suits their size.
const (
	Count        Unit = "count"
	Nanoseconds  Unit = "ns"
	Milliamperes Unit = "mA"
	Millivolts   Unit = "mV"
	Milliohms    Unit = "mohm"
	Percent      Unit = "percent"
	PerSecond    Unit = "per second"

	VoltsPerMicrosecond Unit = "V/us" // of a slew
)

// scale is how a unit is printed above a certain size.
type scale struct {
	from   float64 // the smallest magnitude that is printed so
	factor float64
	symbol string
}

var scales = map[Unit][]scale{
	Count:        {{0, 1, ""}},
	Nanoseconds:  {{1e9, 1e9, "s"}, {1e6, 1e6, "ms"}, {1e3, 1e3, "µs"}, {0, 1, "ns"}},
	Milliamperes: {{1e3, 1e3, "A"}, {0, 1, "mA"}},
	Millivolts:   {{1e3, 1e3, "V"}, {0, 1, "mV"}},
	Milliohms:    {{1e3, 1e3, "Ω"}, {0, 1, "mΩ"}},
	Percent:      {{0, 1, "%"}},
	PerSecond:    {{0, 1, "/s"}},

	VoltsPerMicrosecond: {{0, 1, "V/µs"}},
}

// scaleFor chooses how to print a value of this magnitude.
func (u Unit) scaleFor(value float64) scale {
	list, known := scales[u]
	if !known {
		// A unit that is not ours came with a record; the first few letters of it are printed as far as they print.
		return scale{0, 1, strings.Trim(strconv.QuoteToASCII(string(u[:min(len(u), 16)])), `"`)}
	}
	for _, s := range list {
		// What rounds up to 1000 of the smaller unit is printed in the larger.
		if math.Abs(value) >= s.from*(1-5e-7) {
			return s
		}
	}
	return list[len(list)-1]
}

// Format prints a value with the unit that suits its size, such as "58.25 µs", "9.9 ms", "1.5 A" or "14". At most three
// decimals are kept.
func (u Unit) Format(value float64) string {
	s := u.scaleFor(value)
	return join(decimal(value/s.factor), s.symbol)
}

// FormatSigned prints a value as Format does, with its sign also when it is positive: a margin.
func (u Unit) FormatSigned(value float64) string {
	if value > 0 {
		return "+" + u.Format(value)
	}
	return u.Format(value)
}

// FormatLimit prints what a limit allows, such as "55 to 61 µs", "at most 30 ms", "at least 14" or "exactly 3".
func (u Unit) FormatLimit(l Limit) string {
	switch {
	case l.Min == nil && l.Max == nil:
		return "no limit"
	case l.Max == nil:
		return "at least " + u.Format(*l.Min)
	case l.Min == nil:
		return "at most " + u.Format(*l.Max)
	case *l.Min == *l.Max:
		return "exactly " + u.Format(*l.Min)
	}
	low, high := u.scaleFor(*l.Min), u.scaleFor(*l.Max)
	if low.symbol == high.symbol || *l.Min == 0 {
		return decimal(*l.Min/high.factor) + " to " + u.Format(*l.Max)
	}
	return u.Format(*l.Min) + " to " + u.Format(*l.Max)
}

func join(number, symbol string) string {
	switch symbol {
	case "":
		return number
	case "%", "/s":
		return number + symbol
	}
	return number + " " + symbol
}

// decimal prints at most three decimals, none of them a trailing zero.
func decimal(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "not a number"
	}
	text := strconv.FormatFloat(x, 'f', 3, 64)
	text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	if text == "-0" {
		return "0"
	}
	return text
}
