package conformance

import (
	"fmt"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"

	"periph.io/x/conn/v3/physic"
)

const (
	// nearFull is the part of the current that a station declares to bear without a cut at which its signal is looked at, in percent:
	// close to the most, and far enough from it that no watch of a current may mind. Our own choice.
	nearFull = 90
	// loadedTime is how long the signal is watched under load: some 250 packets, and no longer than a load need be cooled for. Our own
	// choice.
	loadedTime = 2 * time.Second
	// settling is how long the track has to settle after what lies on it has changed: regulators take milliseconds (common practice,
	// no source).
	settling = 50 * time.Millisecond
)

// nearFullLoad is the load at which a track is near the most that it bears, zero where the station declares nothing.
func nearFullLoad(x *examination.Check) physic.ElectricCurrent {
	return x.File.Declares.Track(x.Track).NoTripCurrent * nearFull / 100
}

// S-9.1 A and B: the times are those at the rails with a decoder on them. Its motor runs for half of the time.
func timingWithDecoder(x *examination.Check) {
	x.RunTrack(x.Track)
	locomotives := x.LocomotivesUpTo(1)
	c := fakedecoder.Default()
	for _, address := range locomotives {
		c.Address = address
	}
	_, err := x.Rig.Track(x.Track).Fit(c)
	x.Fitted("fit a fake decoder", err)
	x.Wait(settling)
	w := x.Watch(x.Track)
	x.Wait(loadedTime / 2)
	for _, address := range locomotives {
		x.Drive(address, x.Steps().Max()/2, dcc.Forward)
	}
	x.Wait(loadedTime / 2)
	w.Stop()
	timing(x, w)
}

// S-9.1 A and B: the same near the most that the track bears. The load comes off with the end of the check, whatever ends it.
func timingUnderLoad(x *examination.Check) {
	load := nearFullLoad(x)
	if load == 0 {
		x.NotDeclared("no_trip_current of the %s track", x.Track)
		return
	}
	x.RunTrack(x.Track)
	if x.Track == station.Main {
		for i, address := range x.LocomotivesUpTo(4) {
			x.Drive(address, 10+i, dcc.Forward)
		}
	}
	x.Fitted("load the track", x.Rig.Track(x.Track).Load(load))
	x.Wait(settling)
	w := x.Watch(x.Track)
	if x.Track == station.Programming {
		// Service mode, with nobody there to answer. What the station says to it, and how soon, is another requirement's matter.
		_, err := x.AskToRead(1)
		x.Note("a read of CV 1 with %v on the track: %v", load, err)
		x.Answers()
	} else {
		x.Wait(loadedTime)
	}
	w.Stop()
	x.Fitted("take the load off", x.Rig.Track(x.Track).Load(0))
	timing(x, w)
}

// timing judges the bits of a watch, and what is between them.
func timing(x *examination.Check, w *harness.Watch) {
	s := w.Statistics()
	x.Spread("one half-bit", &s.OneHalf)
	x.SpreadOfDifferences("difference of the halves of a one", &s.OneDifference)
	x.Spread("zero half-bit", &s.ZeroHalf)
	x.Spread("whole zero", &s.ZeroTotal)
	broken, at := 0, w.Ended
	for _, u := range x.Disturbed(w) {
		if u.Reason == signal.ReasonOff && x.Track == station.Programming {
			continue // between two commands of service mode
		}
		broken++
		at = u.Start
		x.Wrong("the track between packets", "a preamble", fmt.Sprintf("%s for %v", u.Reason, u.End-u.Start), u.Start)
	}
	x.Number("stretches that hold no packet", broken, at)
}
