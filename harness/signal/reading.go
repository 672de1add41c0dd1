package signal

import "time"

// A Reading is one way of reading a track signal: what counts as a half-bit, and against which limits it is measured.
type Reading struct {
	// Name says which reading it is.
	Name string
	// One and Zero are the half-bits that are taken for half a one and half a zero. One ends below where Zero begins; a
	// half-bit in neither is unusable.
	One, Zero Band
	// Glitch is the shortest half-bit: what is shorter is a disturbance, and cuts the half-bit in which it happens.
	Glitch time.Duration
	// OneDifference is the largest difference between the two halves of a one that is still taken for a one.
	OneDifference time.Duration
	// Preamble is the smallest number of complete ones before a start bit with which a packet is received.
	Preamble int
	// Limits are what the statistics count as outside. They do not change what is received.
	Limits Limits
}

// Limits are the ranges, ends included, against which a Receiver counts what it measures. Durations are in nanoseconds.
type Limits struct {
	OneHalf, OneDifference, ZeroHalf, ZeroTotal, Gap, Interval, SameAddress, Preamble Limit
}

// A Limit is the allowed range of a measured quantity, both ends allowed, in the unit of its [Distribution].
type Limit struct{ Low, High int64 }

// Allows reports whether v is in the range.
func (l Limit) Allows(v int64) bool { return v >= l.Low && v <= l.High }

// microsecond and millisecond in the unit of the distributions of time.
const (
	microsecond = int64(time.Microsecond)
	millisecond = int64(time.Millisecond)
)

// shortestHalfBit is where a half-bit ends to be one: common practice, no source. It is far below the 52 µs that any decoder
// takes for half a one and far above what contact noise and switching spikes last.
const shortestHalfBit = 20 * time.Microsecond

// StationReading measures what a station sends. Every half-bit that can be read at all is taken for the kind whose limits
// are nearer: the dividing line is 78 µs, the middle between the longest half of a one and the shortest of a zero. A
// preamble of ten ones is enough to receive the packet, so that a station that sends too few is measured and not
// ignored. The limits are those of S-9.1 A, Table 1 (2020) and S-9.2 A and C (July 2004).
func StationReading() Reading {
	return Reading{
		Name:          "as a station must send it",
		One:           Band{shortestHalfBit, 78*time.Microsecond - 1},
		Zero:          Band{78 * time.Microsecond, 12 * time.Millisecond},
		Glitch:        shortestHalfBit,
		OneDifference: Unlimited,
		Preamble:      10,
		Limits: Limits{
			OneHalf:       Limit{55 * microsecond, 61 * microsecond},   // S-9.1 A, Table 1 (2020)
			OneDifference: Limit{0, 3 * microsecond},                   // S-9.1 A, Table 1 (2020)
			ZeroHalf:      Limit{95 * microsecond, 9900 * microsecond}, // S-9.1 A, Table 1 (2020)
			ZeroTotal:     Limit{0, 12000 * microsecond},               // S-9.1 A, Table 1 (2020)
			Preamble:      Limit{14, Unlimited},                        // S-9.2 A (July 2004)
			Gap:           Limit{0, Unlimited},                         // no standard limits it
			Interval:      Limit{0, 30 * millisecond},                  // S-9.2 C (July 2004)
			SameAddress:   Limit{5 * millisecond, Unlimited},           // S-9.2 C (July 2004): what a decoder can follow
		},
	}
}

// DecoderReading accepts what every decoder must accept and nothing else: S-9.1 A, Table 1 (2020) and S-9.2 A (July
// 2004). A decoder may ask for a preamble of 10, 11 or 12 complete ones; this one asks for ten.
func DecoderReading() Reading {
	return Reading{
		Name:          "as a decoder must accept it",
		One:           Band{52 * time.Microsecond, 64 * time.Microsecond},
		Zero:          Band{90 * time.Microsecond, 10000 * time.Microsecond},
		Glitch:        shortestHalfBit,
		OneDifference: 6 * time.Microsecond,
		Preamble:      10,
		Limits: Limits{
			OneHalf:       Limit{52 * microsecond, 64 * microsecond},
			OneDifference: Limit{0, 6 * microsecond},
			ZeroHalf:      Limit{90 * microsecond, 10000 * microsecond},
			ZeroTotal:     Limit{0, 20000 * microsecond},
			Preamble:      Limit{10, Unlimited},
			Gap:           Limit{0, Unlimited},
			Interval:      Limit{0, 30 * millisecond},
			SameAddress:   Limit{5 * millisecond, Unlimited},
		},
	}
}
