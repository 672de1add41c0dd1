package programming

import (
	"errors"

	"bufferstop/harness"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// unanswered returns a watch on the programming track while the station reads a CV, then writes one, and no decoder
// acknowledges: every sequence in its full length. A decoder that is deaf is on the track, so that a station which first
// looks for any load finds one.
func unanswered(x *examination.Check) (read, write *harness.Watch) {
	both := examination.Shared(x, "service mode without acknowledge", func() [2]*harness.Watch {
		x.FitPersonality("deaf")
		defer x.TakeOff()
		read := x.Watch(station.Programming)
		_, err := x.AskToRead(29)
		read.Stop()
		unacknowledged(x, "read CV 29 of a deaf decoder", err)
		write := x.Watch(station.Programming)
		err = x.AskToWrite(29, 6)
		write.Stop()
		unacknowledged(x, "write CV 29 of a deaf decoder", err)
		return [2]*harness.Watch{read, write}
	})
	return x.Look(both[0]), x.Look(both[1])
}

// unacknowledged expects that the station reports a missing acknowledge, or is still trying and answers when it is done.
// What it says, and how soon, is another requirement's matter.
func unacknowledged(x *examination.Check, what string, err error) {
	switch {
	case err == nil, errors.Is(err, station.ErrNoAcknowledge):
	case errors.Is(err, station.ErrNoAnswer):
		x.Answers()
	default:
		x.Obeyed(what, err)
	}
}
