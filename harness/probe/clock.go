package probe

import (
	"math"
	"time"
)

// A SyncPoint is one exchange about the time of the probe.
type SyncPoint struct {
	// Sent and Received are on the host's clock, before the question was handed over and after its answer had come.
	Sent, Received time.Duration
	// Probe is the probe's time between, nominal: ticks by the clock that the Hello states, without calibration, counted
	// from the START and without wrapping.
	Probe time.Duration
	// Time is the same corrected by the calibration, as all times that the client gives.
	Time time.Duration
}

// A ClockFit is the straight line through the sync points of an epoch: how the probe's clock goes by the host's.
type ClockFit struct {
	Points int
	Span   time.Duration // from the first to the last, on the host's clock
	// PPM is by how many millionths the probe's clock, as its Hello states it, is faster than the host's. U is the
	// expanded uncertainty (k=2) of that by the scatter of the exchanges; that of the host's own clock is not in it.
	PPM, U float64
	// RoundTrip is the shortest exchange: half of it is the most by which all points together can be off.
	RoundTrip time.Duration

	host, probe, slope float64 // the middle of the line, in nanoseconds
}

// Probe is the nominal probe time at a time of the host.
func (f ClockFit) Probe(host time.Duration) time.Duration {
	return time.Duration(math.Round(f.probe + f.slope*(float64(host)-f.host)))
}

// Host is the inverse of Probe.
func (f ClockFit) Host(probe time.Duration) time.Duration {
	return time.Duration(math.Round(f.host + (float64(probe)-f.probe)/f.slope))
}

// mostPoints is how many sync points are kept: enough for the scatter to average out, and the same memory for hours. Our
// own choice.
const mostPoints = 256

// syncPoints keeps points of an epoch.
type syncPoints struct{ points []SyncPoint }

// add keeps a point. When there is no room, the better one of each two neighbours stays, so that what is kept still
// reaches back to the beginning.
func (s *syncPoints) add(p SyncPoint) {
	if s.points == nil {
		s.points = make([]SyncPoint, 0, mostPoints)
	}
	if len(s.points) == mostPoints {
		for i := range mostPoints / 2 {
			a, b := s.points[2*i], s.points[2*i+1]
			if b.Received-b.Sent < a.Received-a.Sent {
				a = b
			}
			s.points[i] = a
		}
		s.points = s.points[:mostPoints/2]
	}
	s.points = append(s.points, p)
}

// fit lays the line of least squares through the points. The question reached the probe some time between Sent and
// Received; without knowing when, that is a rectangular distribution with the standard deviation of the round trip
// divided by the square root of 12 (JCGM 100:2008, 4.3.7), which is also what a point's weight comes from.
func (s *syncPoints) fit() ClockFit {
	f := ClockFit{Points: len(s.points), slope: 1}
	if f.Points == 0 {
		return f
	}
	first, last := s.points[0], s.points[len(s.points)-1]
	f.Span = middle(last) - middle(first)
	f.RoundTrip = last.Received - last.Sent
	var sum, sumHost, sumProbe float64
	for _, p := range s.points {
		w := weight(p)
		sum += w
		sumHost += w * float64(middle(p)-middle(first)) // differences keep the precision
		sumProbe += w * float64(p.Probe-first.Probe)
		f.RoundTrip = min(f.RoundTrip, p.Received-p.Sent)
	}
	host, probe := sumHost/sum, sumProbe/sum
	var xx, xy, yy float64
	for _, p := range s.points {
		w := weight(p)
		x, y := float64(middle(p)-middle(first))-host, float64(p.Probe-first.Probe)-probe
		xx, xy, yy = xx+w*x*x, xy+w*x*y, yy+w*y*y
	}
	f.host, f.probe = host+float64(middle(first)), probe+float64(first.Probe)
	if f.Points < 3 || xx == 0 {
		f.U = math.Inf(1)
		return f
	}
	f.slope = xy / xx
	f.PPM = (f.slope - 1) * 1e6
	// If the points scatter more than their round trips explain, so does the slope.
	variance := 1 / xx
	if scatter := (yy - f.slope*xy) / float64(f.Points-2); scatter > 1 {
		variance *= scatter
	}
	f.U = 2 * math.Sqrt(variance) * 1e6
	return f
}

func middle(p SyncPoint) time.Duration { return p.Sent + (p.Received-p.Sent)/2 }

// weight is one over the variance of a point.
func weight(p SyncPoint) float64 {
	round := float64(max(p.Received-p.Sent, time.Microsecond)) // below, other things than the round trip decide
	return 12 / (round * round)
}
