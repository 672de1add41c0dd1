package shortcircuit

import (
	"errors"
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/current"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
	"bufferstop/suites/examination"

	"periph.io/x/conn/v3/physic"
)

// deadShort is the resistance of a short made by metal across the rails, with its leads: common practice, no source.
const deadShort = 100 * physic.MilliOhm

// patience is how much longer than the declared trip time a trip is waited for, so that a late one is measured and not
// only missed. It is bounded: a short that is not cut heats what it lies on.
const patience = 5

// running switches a track on, with some locomotives under control when it is the main one.
func running(x *examination.Check, track station.Track) {
	x.RunTrack(track)
	if track == station.Main {
		for i, address := range x.LocomotivesUpTo(4) {
			x.Drive(address, 10+i, dcc.Forward)
		}
		x.Wait(x.CommandTime())
	}
}

// overload does something that overloads a track, waits for the trip, judges the time that it took, and ends the
// overload at once. A trip is a current that falls to nothing: the voltage of a shorted track is gone before.
func overload(x *examination.Check, track station.Track, begin func() error) {
	promised := x.File.Declares.Track(track)
	w := x.Watch(track)
	x.Wait(10 * time.Millisecond) // samples from before, so that the rise is seen
	begun := x.Rig.Now()
	x.Fitted("overload the track", begin())
	begun = harness.Changed(x.Rig.Track(track), begun)
	trip, tripped := awaitTrip(x, w, track)
	if tripped {
		reportsTrip(x, track)
	}
	x.Fitted("end the overload", x.Rig.Track(track).Open())
	if !tripped {
		x.Wrong("overload of the "+string(track)+" track", fmt.Sprintf("cut within %v", promised.TripTime),
			fmt.Sprintf("not cut in %v", promised.TripTime*patience), begun)
		x.Promise("trip time", x.Rig.Now()-begun, promised.TripTime, x.Rig.Now(), x.Budget(uncertainty.CurrentTime))
		return
	}
	x.Note("peak current %v", trip.Peak)
	x.Promise("trip time", trip.Time-begun, promised.TripTime, trip.Time, x.Budget(uncertainty.CurrentTime))
}

// awaitTrip waits for the end of an overload that has begun, as far as patience goes.
func awaitTrip(x *examination.Check, w *harness.Watch, track station.Track) (trip current.Trip, tripped bool) {
	d, promised := x.Rig.Describe(), x.File.Declares.Track(track)
	trips := current.NewTrips(current.TripFilter{
		Above:   promised.TripCurrent / 2,
		Nothing: 2 * d.CurrentUncertainty,
		Fall:    5 * d.SampleInterval,
		Last:    x.LongestCutout(),
	}, func(t current.Trip) {
		if !tripped {
			trip, tripped = t, true
		}
	})
	begun, looked := x.Rig.Now(), len(w.Currents)
	trips.Samples(w.Currents)
	empty := 0 // samples in a row without current, since the overload began
	var peak physic.ElectricCurrent
	for end := begun + promised.TripTime*patience; !tripped && x.Rig.Now() < end; {
		x.Wait(d.SampleInterval)
		fresh := w.Currents[looked:]
		looked = len(w.Currents)
		trips.Samples(fresh)
		for _, s := range fresh {
			peak = max(peak, s.Current)
			if empty++; s.Current > 2*d.CurrentUncertainty {
				empty = 0
			}
		}
		// A cut between two samples leaves no overload to see: the track that should draw it draws nothing.
		if !tripped && empty >= emptySamples {
			trip, tripped = current.Trip{Start: begun, Time: fresh[len(fresh)-1].Time - (emptySamples-1)*d.SampleInterval, Peak: peak}, true
		}
	}
	return trip, tripped
}

// emptySamples without current in a row are a cut: more than the pause of a signal that changes polarity.
const emptySamples = 10

// reportsTrip expects that the station says of a track that it is tripped, if it can be asked.
func reportsTrip(x *examination.Check, track station.Track) {
	state, err := x.Station.Power(x.Context(), track)
	if errors.Is(err, station.ErrNotSupported) {
		x.Note("it cannot be asked whether the track has tripped: %v", err)
		return
	}
	x.Obeyed("ask for the power state", err)
	if state != station.Tripped {
		x.Failed("power state after the trip", string(station.Tripped), string(state), x.Rig.Now())
	}
}

func deadShortOnMain(x *examination.Check) { short(x, station.Main) }

func deadShortOnProgramming(x *examination.Check) { short(x, station.Programming) }

// A short is cut in time, and the station says so while it lies.
func short(x *examination.Check, track station.Track) {
	declaresTrip(x, track)
	running(x, track)
	overload(x, track, func() error { return x.Rig.Track(track).Short(deadShort) })
}

// The declared trip current is cut.
func tripCurrent(x *examination.Check) {
	declaresTrip(x, x.Track)
	running(x, x.Track)
	amperes := x.File.Declares.Track(x.Track).TripCurrent
	overload(x, x.Track, func() error { return x.Rig.Track(x.Track).Load(amperes) })
}

// before is how long a track is watched before it is loaded, so that it is known to have run.
const before = 50 * time.Millisecond

// loadTime is how long a load that must not trip is borne: twenty times a usual trip time, long enough for the slow
// average of a filter to settle.
const loadTime = 2 * time.Second

// The declared no-trip current flows on.
func noTripCurrent(x *examination.Check) {
	if x.File.Declares.Track(x.Track).NoTripCurrent == 0 {
		x.NotClaimed("the station does not declare no_trip_current of the %s track", x.Track)
	}
	running(x, x.Track)
	w := x.Watch(x.Track)
	x.Wait(before)
	x.Fitted("load the track", x.Rig.Track(x.Track).Load(x.File.Declares.Track(x.Track).NoTripCurrent))
	x.Wait(loadTime)
	cuts(x, w, "cuts at the no-trip current")
}

// The declared inrush rides through: a decoder's empty capacitor is put on the rails of a running track.
func inrush(x *examination.Check) {
	if x.File.Declares.Track(x.Track).InrushPeak == 0 {
		x.NotClaimed("the station does not declare inrush_peak and inrush_tau of the %s track", x.Track)
	}
	running(x, x.Track)
	w := x.Watch(x.Track)
	promised := x.File.Declares.Track(x.Track)
	x.Wait(before)
	x.Fitted("connect an empty capacitor", x.Rig.Track(x.Track).Inrush(promised.InrushPeak, promised.InrushTau))
	x.Wait(promised.InrushTau*10 + promised.TripTime)
	cuts(x, w, "cuts by the inrush")
}

// cuts counts the off states of a track that was to stay on.
func cuts(x *examination.Check, w *harness.Watch, quantity string) {
	w.Stop()
	if len(w.Packets) == 0 {
		x.Inconclusive("no packet was heard")
	}
	n, at := x.Offs(w)
	if n > 0 {
		x.Wrong("the track under a load that it declares to bear", "no cut", fmt.Sprintf("%d cuts", n), at)
	}
	x.Number(quantity, n, at)
}
