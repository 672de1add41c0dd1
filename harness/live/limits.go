package live

import "bufferstop/harness/signal"

// A Quantity is something that is measured on the signal, with the limit that a station has to keep and where that is
// written. Values are nanoseconds, except those of a preamble, which are bits.
type Quantity struct {
	Name   string
	Limit  signal.Limit
	Source string
	// Of picks the quantity out of statistics.
	Of func(*signal.Statistics) *signal.Distribution
}

// The sources of the limits, whose numbers are those of signal.StationReading.
const (
	timing  = "S-9.1 A, Table 1 (2020)"
	packets = "S-9.2 A (July 2004)"
	spacing = "S-9.2 C (July 2004)"
)

// Quantities are what a view can show limits of.
func Quantities() []Quantity {
	l := signal.StationReading().Limits
	return []Quantity{
		{"half of a one", l.OneHalf, timing, func(s *signal.Statistics) *signal.Distribution { return &s.OneHalf }},
		{"half of a zero", l.ZeroHalf, timing, func(s *signal.Statistics) *signal.Distribution { return &s.ZeroHalf }},
		{"halves differ", l.OneDifference, timing, func(s *signal.Statistics) *signal.Distribution { return &s.OneDifference }},
		{"whole zero", l.ZeroTotal, timing, func(s *signal.Statistics) *signal.Distribution { return &s.ZeroTotal }},
		{"preamble", l.Preamble, packets, func(s *signal.Statistics) *signal.Distribution { return &s.Preamble }},
		{"start to start", l.Interval, spacing, func(s *signal.Statistics) *signal.Distribution { return &s.Interval }},
		{"same address", l.SameAddress, spacing, func(s *signal.Statistics) *signal.Distribution { return &s.SameAddress }},
	}
}
