package conformance

import (
	"errors"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// bothWatches are a watch for each track that the station claims and the rig sees, nil for the other.
type bothWatches struct{ main, programming *harness.Watch }

func (b bothWatches) of(track station.Track) *harness.Watch {
	if track == station.Main {
		return b.main
	}
	return b.programming
}

func watchBoth(x *examination.Check) (b bothWatches) {
	sees := func(track station.Track) bool {
		return x.File.Claims.Track(track) && x.Rig.Track(track) != nil && x.Rig.Describe().Can(track, harness.SeeEdges)
	}
	if sees(station.Main) {
		b.main = x.Watch(station.Main)
	}
	if sees(station.Programming) {
		b.programming = x.Watch(station.Programming)
	}
	return b
}

func (b bothWatches) stop() {
	for _, w := range []*harness.Watch{b.main, b.programming} {
		if w != nil {
			w.Stop()
		}
	}
}

// S-9.1 A: between the supply's return and the first packet the pins of a processor are what they happen to be.
func noDirectCurrentAtStart(x *examination.Check) { x.OnePolarity(x.Look(startOf(x).of(x.Track))) }

// S-9.1 A: a reset stops timers, and the bridge goes on with what the pins were.
func noDirectCurrentAtReset(x *examination.Check) { x.OnePolarity(x.Look(resetOf(x).of(x.Track))) }

// afterReset leaves room for a station that starts anew by the command. Our own choice.
const afterReset = 500 * time.Millisecond

// resetOf has the station reset by command in the middle of its work, and then switched on again.
func resetOf(x *examination.Check) bothWatches {
	return examination.Shared(x, "reset by command", func() bothWatches {
		if x.File.Claims.Track(station.Main) {
			x.RunTrack(station.Main)
			for _, address := range x.LocomotivesUpTo(1) {
				x.Drive(address, 8, dcc.Forward)
			}
		}
		b := watchBoth(x)
		switch err := x.Station.Reset(x.Context()); {
		case errors.Is(err, station.ErrNotSupported):
			x.NotClaimed("the station has no command to reset it: %v", err)
		default:
			x.Obeyed("reset", err)
		}
		x.Answers()
		x.Wait(afterReset)
		if x.File.Claims.Track(station.Main) {
			x.PowerOn(station.Main)
			x.Wait(afterReset)
		}
		b.stop()
		return b
	})
}
