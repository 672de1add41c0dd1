package current

import (
	"time"

	"periph.io/x/conn/v3/physic"
)

// A Trip is an overload that ended with the current cut off.
type Trip struct {
	// Start is when the current rose above the limit, Time when it fell below it for good on its way to nothing.
	Start, Time time.Duration
	// Peak is the largest sample between the two.
	Peak physic.ElectricCurrent
}

// After is how long the overload was let run.
func (t Trip) After() time.Duration { return t.Time - t.Start }

// A TripFilter says what is a trip.
type TripFilter struct {
	// Above is the current that is an overload. Nothing is the current up to which the output counts as off: above the
	// probe's noise.
	Above, Nothing physic.ElectricCurrent
	// Fall is the longest time that the current may take from Above to Nothing: at least one sample interval, more for
	// probes that filter. An overload that falls slower, or not so far, was not tripped but taken away.
	Fall time.Duration
	// Last is how long the current stays at nothing for it to be a trip. A current that comes back earlier was interrupted, as by a
	// cutout for bi-directional communication, and the overload goes on. Zero: a trip is one at once.
	Last time.Duration
}

// Trips looks for trips. Make one with NewTrips.
type Trips struct {
	filter  TripFilter
	report  func(Trip)
	started bool
	last    Sample
	state   tripState
	trip    Trip
}

type tripState uint8

const (
	noOverload tripState = iota
	overload
	falling
	gone
)

// NewTrips makes an analysis that calls report for each trip when the current has fallen to nothing.
func NewTrips(f TripFilter, report func(Trip)) *Trips { return &Trips{filter: f, report: report} }

// Sample takes the next sample. Times never go back.
func (t *Trips) Sample(s Sample) {
	last := t.last
	t.last = s
	if !t.started {
		t.started = true
		last = s
	}
	if s.Current > t.filter.Above {
		if t.state == noOverload {
			t.trip = Trip{Start: crossing(last, s, float64(t.filter.Above))}
		}
		t.state = overload
		t.trip.Peak = max(t.trip.Peak, s.Current)
		return
	}
	if t.state == overload {
		t.state = falling
		t.trip.Time = crossing(last, s, float64(t.filter.Above))
	}
	if t.state == gone {
		t.stay(s)
	}
	if t.state != falling {
		return
	}
	// The instant of Nothing, not of the sample below it: a probe that samples seldom must not make a fall look slow.
	switch {
	case s.Current <= t.filter.Nothing && crossing(last, s, float64(t.filter.Nothing))-t.trip.Time <= t.filter.Fall:
		t.state = gone
		t.stay(s)
	case s.Current <= t.filter.Nothing || s.Time-t.trip.Time > t.filter.Fall:
		t.state = noOverload
	}
}

// stay looks whether nothing has lasted long enough. What comes back below the limit was neither a trip nor is it an overload.
func (t *Trips) stay(s Sample) {
	switch {
	case s.Current > t.filter.Nothing:
		t.state = noOverload
	case s.Time-t.trip.Time >= t.filter.Last:
		t.state = noOverload
		t.report(t.trip)
	}
}

// Samples takes the next samples.
func (t *Trips) Samples(samples []Sample) {
	for _, s := range samples {
		t.Sample(s)
	}
}
