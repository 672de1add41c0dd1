package audit

import (
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// timing judges the requirements on the length of bits and their halves: S-9.1 A, Table 1 (2020). The receiver has measured them all.
type timing struct {
	indifferent
	id         string
	quantities []quantity
}

type quantity struct {
	name string
	kind Kind
	of   func(*signal.Statistics) *signal.Distribution
}

func ofOneHalf(s *signal.Statistics) *signal.Distribution  { return &s.OneHalf }
func ofZeroHalf(s *signal.Statistics) *signal.Distribution { return &s.ZeroHalf }

var (
	// SIG-001: t1, each half of a one.
	oneHalves = []quantity{{"one half-bit", Timed, ofOneHalf}}
	// SIG-002: t1d, the difference of the two halves of a one.
	halfDifferences = []quantity{{"difference of the halves of a one", Difference,
		func(s *signal.Statistics) *signal.Distribution { return &s.OneDifference }}}
	// SIG-003: t0, each half of a zero.
	zeroHalves = []quantity{{"zero half-bit", Timed, ofZeroHalf}}
	// SIG-004: both halves of a zero together.
	wholeZeros = []quantity{{"whole zero", Timed, func(s *signal.Statistics) *signal.Distribution { return &s.ZeroTotal }}}
	// SIG-007: the band in which a decoder may take a half-bit for either. The reading of a station takes for a one what is nearer to one,
	// so the longest of these and the shortest zero lie nearest to the band, or in it.
	undefinedBand = []quantity{{"half-bit nearer to a one", Timed, ofOneHalf}, {"half-bit nearer to a zero", Timed, ofZeroHalf}}
)

func (j *timing) report(a *Audit) Report {
	var r Report
	for _, q := range j.quantities {
		d := q.of(a.Statistics())
		m := Reading{Quantity: q.name, Kind: q.kind}
		if d.Count > 0 {
			m.Spread = verdict.Spread{Count: d.Count, Min: float64(d.Min), Mean: d.Mean(), Max: float64(d.Max), MinAt: d.MinAt, MaxAt: d.MaxAt}
		}
		r.Readings = append(r.Readings, m)
		if d.Outside > 0 && j.id != "SIG-007" { // which has other limits
			r.note("%d of %d are outside, the first at %.6f s", d.Outside, d.Count, d.FirstOutsideAt.Seconds())
		}
	}
	return r
}
