package signal

import (
	"iter"
	"math"
	"time"
)

// maxBins is the room for the bins of one distribution; a power of two, so that an index can be masked into it.
const maxBins = 512

// A Distribution is what is kept of one measured quantity: how often it was measured, its extremes and when they were,
// its mean and a histogram with fixed bins. It has a fixed size, and a copy of it is independent of the original.
//
// The unit of values is the nanosecond, except where [Statistics] says otherwise. The time that goes with a value is the
// beginning of the thing measured.
type Distribution struct {
	// Count is the number of values, Outside the number of those outside the limit.
	Count, Outside int64
	// Min and Max are the extremes. Both are zero while Count is zero.
	Min, Max int64
	// MinAt and MaxAt tell where the extremes were met first, FirstOutsideAt where the limit was first exceeded.
	MinAt, MaxAt, FirstOutsideAt time.Duration

	// A value in usualLow … usualLow+usualSpan is neither a new extreme nor outside the limit, as most values are.
	usualLow  int64
	usualSpan uint64
	sum       int64
	limit     Limit
	shape     shape
	bins      [maxBins]int64 // below, the fine ones, the coarse ones, above
}

// shape tells where the bins of a histogram lie: fine ones of one width from low on, then coarse ones of another.
type shape struct {
	low, fineWidth, coarseWidth int64
	fineBins, coarseBins        int64
	fineSpan                    uint64 // fineBins * fineWidth
	reciprocal                  uint64 // of fineWidth, times 2^48, rounded up
}

// reciprocalShift makes the multiplication by a rounded reciprocal exact as long as fineSpan * fineWidth < 2^48, which
// newShape checks.
const reciprocalShift = 48

func newShape(low, fineWidth, fineBins, coarseWidth, coarseBins int64) shape {
	s := shape{low: low, fineWidth: fineWidth, fineBins: fineBins, coarseWidth: coarseWidth, coarseBins: coarseBins}
	s.fineSpan = uint64(fineWidth * fineBins)
	s.reciprocal = (1<<reciprocalShift + uint64(fineWidth) - 1) / uint64(fineWidth)
	if fineBins+coarseBins+2 > maxBins || s.fineSpan*uint64(fineWidth) >= 1<<reciprocalShift {
		panic("signal: histogram shape out of range")
	}
	return s
}

// index is the bin of a value outside the fine zone.
func (s *shape) index(v int64) uint64 {
	if v < s.low {
		return 0
	}
	beyond := uint64(v) - uint64(s.low) - s.fineSpan
	if s.coarseBins > 0 && beyond < uint64(s.coarseBins*s.coarseWidth) {
		return 1 + uint64(s.fineBins) + beyond/uint64(s.coarseWidth)
	}
	return 1 + uint64(s.fineBins+s.coarseBins)
}

// bounds are the ends of bin i: the lowest value in it and the lowest above it.
func (s *shape) bounds(i int64) (low, high int64) {
	fineEnd := s.low + s.fineBins*s.fineWidth
	coarseEnd := fineEnd + s.coarseBins*s.coarseWidth
	switch {
	case i == 0:
		return math.MinInt64, s.low
	case i <= s.fineBins:
		return s.low + (i-1)*s.fineWidth, s.low + i*s.fineWidth
	case i <= s.fineBins+s.coarseBins:
		i -= s.fineBins
		return fineEnd + (i-1)*s.coarseWidth, fineEnd + i*s.coarseWidth
	}
	return coarseEnd, math.MaxInt64
}

func newDistribution(s shape, limit Limit) Distribution {
	return Distribution{shape: s, limit: limit, usualLow: math.MaxInt64}
}

// add counts the value v, measured on the thing that began at the given time.
func (d *Distribution) add(v int64, at time.Duration) {
	if uint64(v-d.usualLow) > d.usualSpan {
		d.unusual(v, at)
	}
	// What follows is record, written out because this is called for every half-bit.
	d.Count++
	d.sum += v
	i := uint64(v - d.shape.low)
	if i < d.shape.fineSpan {
		i = 1 + i*d.shape.reciprocal>>reciprocalShift
	} else {
		i = d.shape.index(v)
	}
	d.bins[i%maxBins]++
}

// addJudged counts v, but holds judged against the limit in its place.
func (d *Distribution) addJudged(v, judged int64, at time.Duration) {
	d.extreme(v, at)
	if !d.limit.Allows(judged) {
		d.outside(at)
	}
	d.record(v)
}

func (d *Distribution) record(v int64) {
	d.Count++
	d.sum += v
	i := uint64(v - d.shape.low)
	if i < d.shape.fineSpan {
		i = 1 + i*d.shape.reciprocal>>reciprocalShift
	} else {
		i = d.shape.index(v)
	}
	d.bins[i%maxBins]++
}

// unusual takes note of a value that may be a new extreme or outside the limit. It runs before the value is counted.
func (d *Distribution) unusual(v int64, at time.Duration) {
	d.extreme(v, at)
	if !d.limit.Allows(v) {
		d.outside(at)
	}
	d.setUsual()
}

func (d *Distribution) extreme(v int64, at time.Duration) {
	if d.Count == 0 || v < d.Min {
		d.Min, d.MinAt = v, at
	}
	if d.Count == 0 || v > d.Max {
		d.Max, d.MaxAt = v, at
	}
}

func (d *Distribution) outside(at time.Duration) {
	if d.Outside == 0 || at < d.FirstOutsideAt {
		d.FirstOutsideAt = at
	}
	d.Outside++
}

func (d *Distribution) setUsual() {
	low, high := max(d.Min, d.limit.Low), min(d.Max, d.limit.High)
	if low > high {
		d.usualLow, d.usualSpan = math.MaxInt64, 0
		return
	}
	d.usualLow, d.usualSpan = low, uint64(high)-uint64(low)
}

// Mean is the arithmetic mean, or zero when nothing was measured.
func (d *Distribution) Mean() float64 {
	if d.Count == 0 {
		return 0
	}
	return float64(d.sum) / float64(d.Count)
}

// Limit is the range against which Outside is counted.
func (d *Distribution) Limit() Limit { return d.limit }

// A Bin is one bar of a histogram: Count values v with Low <= v < High. The first and last bin of a histogram are open:
// their Low is math.MinInt64, or their High math.MaxInt64.
type Bin struct {
	Low   int64 `json:"low"`
	High  int64 `json:"high"`
	Count int64 `json:"count"`
}

// Bins goes through the bins that are not empty, lowest first.
func (d *Distribution) Bins() iter.Seq[Bin] {
	return func(yield func(Bin) bool) {
		for i, count := range d.bins {
			if count == 0 {
				continue
			}
			low, high := d.shape.bounds(int64(i))
			if !yield(Bin{low, high, count}) {
				return
			}
		}
	}
}

// Merge adds what o has counted to d. Both must be of the same quantity and reading: Merge panics when their bins or
// limits differ, because the sum would mean nothing.
func (d *Distribution) Merge(o *Distribution) {
	if d.shape != o.shape || d.limit != o.limit {
		panic("signal: distributions of different quantities or limits merged")
	}
	if o.Count == 0 {
		return
	}
	if d.Count == 0 || o.Min < d.Min || o.Min == d.Min && o.MinAt < d.MinAt {
		d.Min, d.MinAt = o.Min, o.MinAt
	}
	if d.Count == 0 || o.Max > d.Max || o.Max == d.Max && o.MaxAt < d.MaxAt {
		d.Max, d.MaxAt = o.Max, o.MaxAt
	}
	if o.Outside > 0 && (d.Outside == 0 || o.FirstOutsideAt < d.FirstOutsideAt) {
		d.FirstOutsideAt = o.FirstOutsideAt
	}
	d.Count += o.Count
	d.Outside += o.Outside
	d.sum += o.sum
	for i, count := range o.bins {
		d.bins[i] += count
	}
	d.setUsual()
}

// A Summary is a Distribution in a form for JSON. Values and times are in nanoseconds, except where [Statistics] says
// otherwise.
type Summary struct {
	Count          int64   `json:"count"`
	Outside        int64   `json:"outside"`
	Min            int64   `json:"min"`
	Max            int64   `json:"max"`
	Mean           float64 `json:"mean"`
	MinAt          int64   `json:"min_at_ns"`
	MaxAt          int64   `json:"max_at_ns"`
	FirstOutsideAt *int64  `json:"first_outside_at_ns,omitempty"`
	Bins           []Bin   `json:"bins"`
}

// Summary exports the distribution.
func (d *Distribution) Summary() Summary {
	s := Summary{
		Count: d.Count, Outside: d.Outside, Min: d.Min, Max: d.Max, Mean: d.Mean(),
		MinAt: int64(d.MinAt), MaxAt: int64(d.MaxAt), Bins: []Bin{},
	}
	if d.Outside > 0 {
		at := int64(d.FirstOutsideAt)
		s.FirstOutsideAt = &at
	}
	for b := range d.Bins() {
		s.Bins = append(s.Bins, b)
	}
	return s
}
