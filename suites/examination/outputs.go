package examination

import (
	"time"

	"bufferstop/harness"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
)

// Recover waits until a track whose overload is gone has power again, asking for it when the station declares that it
// must be asked. It ends the check when the track does not come back.
func (x *Check) Recover(track station.Track) {
	promised := x.File.Declares.Track(track)
	w := x.Watch(track)
	defer w.Stop()
	if promised.Recovery == station.OnCommand {
		x.PowerOn(track)
	}
	if _, back := x.Await(w, x.Rig.Now(), 2*(promised.RetryAfter+promised.TripTime), func(h harness.Heard) bool {
		return h.Fault == signal.None
	}); !back {
		x.Inconclusive("the %s track did not come back after an overload", track)
	}
}

// Offs counts the off states of a track, and tells when the first began.
func Offs(w *harness.Watch) (n int, first time.Duration) {
	for _, u := range w.Unusable {
		if u.Reason == signal.ReasonOff {
			if n == 0 {
				first = u.Start
			}
			n++
		}
	}
	return n, first
}
