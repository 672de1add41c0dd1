package programming

import (
	"errors"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// unanswered returns a watch on the programming track while the station reads a CV, then writes one, and no decoder
// acknowledges: every sequence in its full length. A decoder that is deaf is on the track, so that a station which first
// looks for any load finds one.
func unanswered(x *examination.Check) (read, write *harness.Watch) {
	both := harness.Shared(x.Session, "service mode without acknowledge", func() [2]*harness.Watch {
		x.FitPersonality("deaf")
		read := x.Watch(station.Programming)
		_, err := x.Station.ReadCV(x.Context(), 29, station.Direct)
		unacknowledged(x, "read CV 29 of a deaf decoder", err)
		read.Stop()
		write := x.Watch(station.Programming)
		err = x.Station.WriteCV(x.Context(), 29, 6, station.Direct)
		unacknowledged(x, "write CV 29 of a deaf decoder", err)
		write.Stop()
		return [2]*harness.Watch{read, write}
	})
	return x.Look(both[0]), x.Look(both[1])
}

// unacknowledged expects that the station reports a missing acknowledge, or is still trying. What it says, and how soon,
// is another requirement's matter.
func unacknowledged(x *examination.Check, what string, err error) {
	if err == nil || errors.Is(err, station.ErrNoAcknowledge) || errors.Is(err, link.ErrTimeout) {
		return
	}
	x.Obeyed(what, err)
}
