package shortcircuit

import (
	"errors"
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"

	"periph.io/x/conn/v3/physic"
)

// What S-9.2.3 B.3 and E (July 2012) call limited energy on the programming track.
const (
	limitedCurrent = 250 * physic.MilliAmpere
	limitedTime    = 100 * time.Millisecond
)

// tooMuch is beyond it by more than a load or a station's current sensing is off. Our own choice.
const tooMuch = 300 * physic.MilliAmpere

// The time ends when the current is down to what is allowed, whether the track was cut or the current is held there.
func limitedEnergy(x *examination.Check) {
	running(x, station.Programming)
	track := x.Rig.Track(station.Programming)
	w := x.Watch(station.Programming)
	x.Wait(10 * time.Millisecond)
	begun := x.Rig.Now()
	x.Fitted("load the track", track.Load(tooMuch))
	begun = harness.Changed(track, begun)
	d := x.Rig.Describe()
	above := limitedCurrent + d.CurrentUncertainty
	last, peak, low, looked := begun, physic.ElectricCurrent(0), 0, len(w.Currents)
	for end := begun + patience*limitedTime; low < emptySamples && x.Rig.Now() < end; {
		x.Wait(d.SampleInterval)
		fresh := w.Currents[looked:]
		looked = len(w.Currents)
		for _, s := range fresh {
			if s.Time < begun {
				continue
			}
			peak = max(peak, s.Current)
			if low++; s.Current > above {
				low, last = 0, s.Time
			}
		}
	}
	x.Fitted("take the load off", track.Open())
	if peak < limitedCurrent/2 {
		x.Inconclusive("a load of %v drew %v at the most", tooMuch, peak)
	}
	x.Note("peak current %v", peak)
	if low < emptySamples {
		x.Wrong(fmt.Sprintf("a load of %v on the programming track", tooMuch), fmt.Sprintf("limited within %v", limitedTime),
			fmt.Sprintf("not limited in %v", patience*limitedTime), begun)
	}
	x.SpanOfCurrent("time above 250 mA", last-begun, last)
}

// The load is there before the power is, and stays longer than a decoder's capacitor takes to fill.
func overloadAtPowerOn(x *examination.Check) {
	track := x.Rig.Track(station.Programming)
	x.Fitted("load the track", track.Load(tooMuch))
	value, err := x.AskToRead(8)
	x.Fitted("take the load off", track.Open())
	untold, at := 0, x.Rig.Now()
	no := func(actual string) {
		untold++
		x.Wrong(fmt.Sprintf("reading a CV while %v flow", tooMuch), "the report of an overload", actual, at)
	}
	switch {
	case err == nil:
		no(fmt.Sprintf("the value %d", value))
	case errors.Is(err, station.ErrNoAcknowledge):
		no("no acknowledge")
	case !errors.Is(err, station.ErrTripped):
		x.Obeyed("read a CV of a track with an overload", err)
	}
	x.Number("operations that end without a report of the overload", untold, at)
}
