package signal

import "time"

// Statistics are what a Receiver measured. All values are nanoseconds, except those of Preamble, which are bits.
//
// Half-bits are measured only between two reversals: what is cut by an off state, a lost stretch, a glitch or the ends of
// the capture is not a half-bit. Bits are measured only where it is known which halves belong together.
type Statistics struct {
	// OneHalf are the halves of ones and ZeroHalf those of zeros, OneDifference the absolute difference between the
	// two halves of a one, and ZeroTotal whole zeros.
	OneHalf, OneDifference, ZeroHalf, ZeroTotal Distribution
	// Gap is the time from a packet's end to the next preamble, where that does not follow at once.
	Gap Distribution
	// Interval is the time from start bit to start bit of two good packets, one after the other. An off state or a
	// disturbance between them is part of it, because no packet came meanwhile; a stretch that the probe lost is not. So
	// whoever has the power switched off on purpose calls ResetStatistics.
	Interval Distribution
	// SameAddress is the time from the end bit of a good packet to the start bit of the next one to the same address.
	// Broadcast and idle packets have no address in this sense; on a programming track the figure means nothing.
	SameAddress Distribution
	// Preamble is the number of complete ones before a start bit, the end bit of the packet before not counted. Outside
	// does count that end bit where it may be counted (S-9.2 footnote 3, July 2004). Preambles whose first bit was not
	// seen are left out.
	Preamble Distribution
	// Edges counts the changes of level, the first level included.
	Edges int64
	// Packets counts all packets that the sink was told of, Invalid those of them that have a Fault.
	Packets, Invalid int64
	// Unusable counts the unusable stretches, off states included; UnusableTime is how long they were together.
	Unusable     int64
	UnusableTime time.Duration
}

// The bins of each quantity: fine where the limits are, coarse up to the longest that can be met.
var (
	oneHalfShape       = newShape(20*microsecond, 250, 232, 1, 0)
	oneDifferenceShape = newShape(0, 250, 240, 1, 0)
	zeroHalfShape      = newShape(78*microsecond, 500, 250, 100*microsecond, 120)
	zeroTotalShape     = newShape(156*microsecond, 1*microsecond, 250, 100*microsecond, 240)
	gapShape           = newShape(0, 10*microsecond, 250, 1*millisecond, 200)
	intervalShape      = newShape(0, 200*microsecond, 250, 10*millisecond, 200)
	sameAddressShape   = newShape(0, 200*microsecond, 250, 100*millisecond, 200)
	preambleShape      = newShape(0, 1, 250, 100, 200)
)

// NewStatistics returns empty statistics that count against the limits of the reading.
func NewStatistics(r Reading) *Statistics {
	return &Statistics{
		OneHalf:       newDistribution(oneHalfShape, r.Limits.OneHalf),
		OneDifference: newDistribution(oneDifferenceShape, r.Limits.OneDifference),
		ZeroHalf:      newDistribution(zeroHalfShape, r.Limits.ZeroHalf),
		ZeroTotal:     newDistribution(zeroTotalShape, r.Limits.ZeroTotal),
		Gap:           newDistribution(gapShape, r.Limits.Gap),
		Interval:      newDistribution(intervalShape, r.Limits.Interval),
		SameAddress:   newDistribution(sameAddressShape, r.Limits.SameAddress),
		Preamble:      newDistribution(preambleShape, r.Limits.Preamble),
	}
}

// Merge adds what o has counted, as of another stretch of the same signal. Both must be of the same reading.
func (s *Statistics) Merge(o *Statistics) {
	s.OneHalf.Merge(&o.OneHalf)
	s.OneDifference.Merge(&o.OneDifference)
	s.ZeroHalf.Merge(&o.ZeroHalf)
	s.ZeroTotal.Merge(&o.ZeroTotal)
	s.Gap.Merge(&o.Gap)
	s.Interval.Merge(&o.Interval)
	s.SameAddress.Merge(&o.SameAddress)
	s.Preamble.Merge(&o.Preamble)
	s.Edges += o.Edges
	s.Packets += o.Packets
	s.Invalid += o.Invalid
	s.Unusable += o.Unusable
	s.UnusableTime += o.UnusableTime
}

// A StatisticsSummary is Statistics in a form for JSON.
type StatisticsSummary struct {
	Edges         int64   `json:"edges"`
	Packets       int64   `json:"packets"`
	Invalid       int64   `json:"invalid_packets"`
	Unusable      int64   `json:"unusable"`
	UnusableTime  int64   `json:"unusable_ns"`
	OneHalf       Summary `json:"one_half_ns"`
	OneDifference Summary `json:"one_difference_ns"`
	ZeroHalf      Summary `json:"zero_half_ns"`
	ZeroTotal     Summary `json:"zero_total_ns"`
	Gap           Summary `json:"gap_ns"`
	Interval      Summary `json:"interval_ns"`
	SameAddress   Summary `json:"same_address_ns"`
	Preamble      Summary `json:"preamble_bits"`
}

// Summary exports the statistics.
func (s *Statistics) Summary() StatisticsSummary {
	return StatisticsSummary{
		Edges: s.Edges, Packets: s.Packets, Invalid: s.Invalid,
		Unusable: s.Unusable, UnusableTime: int64(s.UnusableTime),
		OneHalf: s.OneHalf.Summary(), OneDifference: s.OneDifference.Summary(),
		ZeroHalf: s.ZeroHalf.Summary(), ZeroTotal: s.ZeroTotal.Summary(),
		Gap: s.Gap.Summary(), Interval: s.Interval.Summary(), SameAddress: s.SameAddress.Summary(),
		Preamble: s.Preamble.Summary(),
	}
}
