package current

import (
	"math"
	"time"

	"periph.io/x/conn/v3/physic"
)

// An Acknowledge is a pulse that counts as a basic acknowledgement: the load grew for a time and fell back.
type Acknowledge struct {
	// Start is when the growth reached the threshold, Width how long it stayed there.
	Start, Width time.Duration
	// Amplitude is the mean growth over the samples of the pulse; Peak is the largest.
	Amplitude, Peak physic.ElectricCurrent
	// Baseline is the load on which the pulse stands.
	Baseline physic.ElectricCurrent
}

// An AcknowledgeFilter says what pulse is an acknowledge.
type AcknowledgeFilter struct {
	// Threshold is the least growth over the baseline. S-9.2.3 D (July 2012) asks decoders for 60 mA, so that a
	// filter for a noisy probe sets it somewhat lower.
	Threshold physic.ElectricCurrent
	// MinWidth and MaxWidth bound the width, both included. S-9.2.3 D: 5 ms and 7 ms.
	MinWidth, MaxWidth time.Duration
	// Bridge is the longest dip below the threshold that does not end a pulse, for pulses of a chopped motor. Zero: every dip does.
	Bridge time.Duration
	// Settle is the time constant with which the baseline follows the load between pulses.
	Settle time.Duration
}

// StandardAcknowledge is the pulse of S-9.2.3 D (July 2012), with 50 mA as the threshold and half a millisecond more on
// either side for what sampling and filters do to it; the baseline's 20 ms is common practice, no source.
func StandardAcknowledge() AcknowledgeFilter {
	return AcknowledgeFilter{
		Threshold: 50 * physic.MilliAmpere,
		MinWidth:  4500 * time.Microsecond,
		MaxWidth:  7500 * time.Microsecond,
		Settle:    20 * time.Millisecond,
	}
}

// Acknowledges looks for acknowledge pulses. Make one with NewAcknowledges.
type Acknowledges struct {
	filter AcknowledgeFilter
	report func(Acknowledge)

	started  bool
	last     Sample
	baseline float64 // nA, like all currents here

	// The pulse under way.
	inside     bool
	start      time.Duration
	sum, count float64 // of the growth, over the samples that reached the threshold
	peak       float64
	dipping    bool
	dip        time.Duration // when the growth fell below the threshold
}

// NewAcknowledges makes an analysis that calls report for each acknowledge as soon as it has ended.
func NewAcknowledges(f AcknowledgeFilter, report func(Acknowledge)) *Acknowledges {
	return &Acknowledges{filter: f, report: report}
}

// Sample takes the next sample. Times never go back.
func (a *Acknowledges) Sample(s Sample) {
	if !a.started {
		a.started = true
		a.baseline = float64(s.Current)
		a.last = s
		return
	}
	growth := float64(s.Current) - a.baseline
	above := growth >= float64(a.filter.Threshold)
	switch {
	case a.inside:
		a.follow(s, growth, above)
	case above:
		a.inside, a.dipping = true, false
		a.start = a.crossing(s)
		a.sum, a.count, a.peak = growth, 1, growth
	case growth <= -float64(a.filter.Threshold):
		a.baseline = float64(s.Current) // a load went away: no need to follow slowly
	default:
		a.baseline += growth * settled(s.Time-a.last.Time, a.filter.Settle)
	}
	a.last = s
}

// Samples takes the next samples.
func (a *Acknowledges) Samples(samples []Sample) {
	for _, s := range samples {
		a.Sample(s)
	}
}

// Finish ends the analysis at the last sample: a pulse that has not fallen back is none.
func (a *Acknowledges) Finish() {
	if a.inside && a.dipping {
		a.end()
	}
	a.inside = false
}

// follow takes a sample while a pulse is under way.
func (a *Acknowledges) follow(s Sample, growth float64, above bool) {
	if above {
		a.dipping = false
		a.sum += growth
		a.count++
		a.peak = max(a.peak, growth)
		if s.Time-a.start > a.filter.MaxWidth {
			// Too long for a pulse: the load has changed, and this is the new baseline.
			a.inside = false
			a.baseline = float64(s.Current)
		}
		return
	}
	if !a.dipping {
		a.dipping = true
		a.dip = a.crossing(s)
	}
	if s.Time-a.dip >= a.filter.Bridge {
		a.end()
	}
}

// end closes the pulse where its last dip began.
func (a *Acknowledges) end() {
	a.inside = false
	width := a.dip - a.start
	if width < a.filter.MinWidth || width > a.filter.MaxWidth {
		return
	}
	a.report(Acknowledge{
		Start:     a.start,
		Width:     width,
		Amplitude: physic.ElectricCurrent(math.Round(a.sum / a.count)),
		Peak:      physic.ElectricCurrent(a.peak),
		Baseline:  physic.ElectricCurrent(a.baseline),
	})
}

// crossing is when the straight line from the last sample to s passed the threshold.
func (a *Acknowledges) crossing(s Sample) time.Duration {
	return crossing(a.last, s, a.baseline+float64(a.filter.Threshold))
}

// crossing is when the straight line from one sample to the next passes level, which lies between them.
func crossing(from, to Sample, level float64) time.Duration {
	rise := float64(to.Current) - float64(from.Current)
	if rise == 0 {
		return to.Time
	}
	part := (level - float64(from.Current)) / rise
	return from.Time + time.Duration(math.Round(float64(to.Time-from.Time)*min(max(part, 0), 1)))
}

// settled is how much of a step a first-order filter has followed after the time.
func settled(after, constant time.Duration) float64 {
	if constant <= 0 {
		return 1
	}
	x := float64(after) / float64(constant)
	return x / (1 + x) // close to 1-exp(-x) for the small x of real sampling, and cheap
}
