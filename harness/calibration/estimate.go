package calibration

import (
	"fmt"
	"math"
	"slices"
	"time"

	"bufferstop/harness/uncertainty"
)

// fitTimeBase finds how the probe's clock goes against the host's: the slope of a straight line by least squares (JCGM 100:2008 H.3),
// host time over probe time. Exchanges that took much longer than the shortest are left out: their answer was held up, and nobody
// knows on which way. hostPPM bounds the host's own clock.
func fitTimeBase(pairs []SyncPair, hostPPM float64) (*TimeBase, error) {
	kept := prompt(pairs)
	if len(kept) < leastPairs {
		return nil, fmt.Errorf("only %d of %d exchanges about the time were prompt, want %d at least (hint: less traffic on the machine, or a longer time)",
			len(kept), len(pairs), leastPairs)
	}
	// Times since the first pair, in seconds, keep their digits.
	var sumX, sumY float64
	x, y := make([]float64, len(kept)), make([]float64, len(kept))
	longest := time.Duration(0)
	for i, p := range kept {
		longest = max(longest, p.Received-p.Sent)
		x[i] = (p.Probe - kept[0].Probe).Seconds()
		y[i] = (middle(p) - middle(kept[0])).Seconds()
		sumX, sumY = sumX+x[i], sumY+y[i]
	}
	n := float64(len(kept))
	meanX, meanY := sumX/n, sumY/n
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - meanX) * (x[i] - meanX)
		sxy += (x[i] - meanX) * (y[i] - meanY)
	}
	if sxx == 0 {
		return nil, fmt.Errorf("the probe's clock stands still: %d exchanges, all at %v", len(kept), kept[0].Probe)
	}
	slope := sxy / sxx
	var residuals, furthest float64
	for i := range x {
		r := y[i] - meanY - slope*(x[i]-meanX)
		residuals += r * r
		furthest = max(furthest, math.Abs(r))
	}
	// The probe read its clock at some time of the exchange, so no point of a straight line is further off than an exchange is long.
	if furthest > longest.Seconds() {
		return nil, fmt.Errorf("the clocks have jumped against each other, by %v about: exchanges took at most %v (hint: was the link lost, or did the computer sleep? Try again)",
			time.Duration(furthest*1e9).Round(time.Millisecond), longest.Round(time.Microsecond))
	}
	// Standard uncertainties in parts in a million: of the slope, from the scatter about the line, and of the host's clock.
	fitted := math.Sqrt(residuals/(n-2)/sxx) / slope * 1e6
	b := uncertainty.Budget{K: uncertainty.Coverage, Components: []uncertainty.Component{
		uncertainty.Deviation("fit", math.Abs(fitted), "residuals of the straight line").Observed(len(kept) - 1), // two are spent on the line
		uncertainty.HalfWidth("host", hostPPM, "stated accuracy of the host's clock"),
	}}
	t := &TimeBase{PPM: (slope - 1) * 1e6, U: b.Expanded(0), Over: kept[len(kept)-1].Probe - kept[0].Probe, HostPPM: hostPPM}
	if math.Abs(t.PPM) > maxPPM {
		return nil, fmt.Errorf("the probe's clock is off by %.0f ppm, want %d at most (hint: is it the frequency that the probe states?)", t.PPM, maxPPM)
	}
	return t, nil
}

// leastPairs are needed for a line whose scatter says something. Our own choice: 20 degrees of freedom make k = 2.13.
const leastPairs = 22

// middle is when the host thinks that the probe read its clock.
func middle(p SyncPair) time.Duration { return p.Sent + (p.Received-p.Sent)/2 }

// prompt keeps the exchanges that took at most twice as long as the tenth part of them that was shortest. Our own choice.
func prompt(pairs []SyncPair) []SyncPair {
	if len(pairs) == 0 {
		return nil
	}
	lengths := make([]time.Duration, len(pairs))
	for i, p := range pairs {
		lengths[i] = p.Received - p.Sent
	}
	slices.Sort(lengths)
	most := 2 * lengths[len(lengths)/10]
	var kept []SyncPair
	for _, p := range pairs {
		if p.Received-p.Sent <= most {
			kept = append(kept, p)
		}
	}
	return kept
}

// counted is the mean of counts and their standard deviation.
type counted struct {
	mean, deviation float64
	n               int
	highest         uint16
}

func count(counts []uint16) counted {
	c := counted{n: len(counts)}
	if c.n == 0 {
		return c
	}
	for _, x := range counts {
		c.mean += float64(x)
		c.highest = max(c.highest, x)
	}
	c.mean /= float64(c.n)
	values := make([]float64, c.n)
	for i, x := range counts {
		values[i] = float64(x)
	}
	c.deviation = clip(values, 1).deviation
	return c
}

// ofMean is the standard uncertainty of the mean: of the scatter (JCGM 100:2008 4.2.3), and of the steps of the converter, which
// a mean over little noise does not get rid of.
func (c counted) ofMean() float64 {
	return math.Hypot(c.deviation/math.Sqrt(float64(max(c.n, 1))), 1/math.Sqrt(12))
}

// clipped is what values are like that are all of one kind.
type clipped struct{ median, most, mean, deviation float64 }

// holds reports whether a value is of that kind.
func (c clipped) holds(v float64) bool { return math.Abs(v-c.median) <= c.most }

// clip leaves out the values that are of another kind: a sample in the pause of a polarity change, a bit that the station has sent
// late. These are further from the median than five times what most are (1.4826 times the median distance from it is the standard
// deviation of a normal distribution), or than five steps where most are the same.
func clip(values []float64, step float64) clipped {
	if len(values) == 0 {
		return clipped{}
	}
	sorted := slices.Sorted(slices.Values(values))
	c := clipped{median: sorted[len(sorted)/2]}
	distances := make([]float64, len(values))
	for i, v := range values {
		distances[i] = math.Abs(v - c.median)
	}
	slices.Sort(distances)
	const normal, far = 1.4826, 5
	c.most = far * max(normal*distances[len(distances)/2], step)
	n, squares := 0.0, 0.0 // by Welford's recurrence
	for _, v := range values {
		if c.holds(v) {
			n++
			off := v - c.mean
			c.mean += off / n
			squares += off * (v - c.mean)
		}
	}
	c.deviation = math.Sqrt(squares / max(n-1, 1))
	return c
}

// longestOne tells a one from a zero by the half: S-9.2 has decoders take halves of 52 to 64 µs as ones, and 90 µs and more as zeros
// (S-9.1 A, 2020).
const longestOne = 77 * time.Microsecond

// repeatability is how much one and the same time between two edges differs as it is measured: halves of ones, which a
// station makes all alike; tick is the step of the time stamps in nanoseconds. Each direction is looked at for itself, since the
// comparator may lengthen the one and shorten the other.
//
// An edge that is stamped late lengthens the half before it and shortens the one after it, so what the probe does shows in the
// covariance of two halves in a row, which is minus the variance of one edge; a time between edges has twice that. A half that the
// station makes longer by itself does not show there. What a station does to its edges one by one, as by the latency of an
// interrupt, cannot be told from what the probe does: the result is an upper bound, and the probe's own only under a steady signal.
func repeatability(spans []Span, tick float64) *Repeatability {
	var up, down []float64
	for _, s := range spans {
		switch {
		case s.Length > longestOne:
		case s.Positive:
			up = append(up, float64(s.Length))
		default:
			down = append(down, float64(s.Length))
		}
	}
	n := min(len(up), len(down))
	if n < leastSpans {
		return nil
	}
	high, low := clip(up, tick), clip(down, tick)
	covariance, pairs := 0.0, 0.0
	for i := 1; i < len(spans); i++ {
		x, y := spans[i-1], spans[i]
		if y.Positive {
			x, y = y, x
		}
		if x.Positive == y.Positive || !high.holds(float64(x.Length)) || !low.holds(float64(y.Length)) {
			continue
		}
		pairs++
		covariance += (float64(x.Length) - high.mean) * (float64(y.Length) - low.mean)
	}
	bound := max(high.deviation, low.deviation)
	if pairs >= leastSpans {
		bound = min(bound, math.Sqrt(max(-2*covariance/pairs, 0)))
	}
	// Half steps of a nanosecond make no difference; the next whole one does not flatter.
	return &Repeatability{Deviation: time.Duration(math.Ceil(bound)), Spans: n}
}

// leastSpans are needed for a standard deviation that is known to a few percent (JCGM 100:2008 table E.1: 50 give 10 %). Our own
// choice.
const leastSpans = 500

// LoopOf is how loop times are spread. The 99th percentile is the nearest rank. No times have no
// spread: nil. Whole microseconds are more than enough.
func LoopOf(times []time.Duration) *Loop {
	if len(times) == 0 {
		return nil
	}
	sorted := slices.Sorted(slices.Values(times))
	return &Loop{rank(sorted, 0.5).Round(time.Microsecond), rank(sorted, 0.99).Round(time.Microsecond), len(sorted)}
}

func rank(sorted []time.Duration, part float64) time.Duration {
	return sorted[max(int(math.Ceil(part*float64(len(sorted))))-1, 0)]
}
