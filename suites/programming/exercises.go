package programming

import (
	"errors"

	"bufferstop/harness"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// accesses are watches on the programming track while a station reads a CV, and while it writes one.
type accesses struct {
	read, write *harness.Watch
	// unread and unwritten say that the station has no command for it, so that the watch has heard nothing of it.
	unread, unwritten bool
}

// unanswered watches the programming track while the station reads a CV, then writes one, and no decoder
// acknowledges: every sequence in its full length. A decoder that is deaf is on the track, so that a station which first
// looks for any load finds one.
func unanswered(x *examination.Check) accesses {
	both := examination.Shared(x, "service mode without acknowledge", func() (a accesses) {
		x.FitPersonality("deaf")
		defer x.TakeOff()
		a.read = x.Watch(station.Programming)
		_, err := x.AskToRead(29)
		if errors.Is(err, station.ErrNotSupported) {
			_, err = x.AskToVerify(29, 5) // its packets are the same
		}
		a.read.Stop()
		if a.unread = errors.Is(err, station.ErrNotSupported); !a.unread {
			unacknowledged(x, "read CV 29 of a deaf decoder", err)
		}
		a.write = x.Watch(station.Programming)
		err = x.AskToWrite(29, 6)
		a.write.Stop()
		if a.unwritten = errors.Is(err, station.ErrNotSupported); !a.unwritten {
			unacknowledged(x, "write CV 29 of a deaf decoder", err)
		}
		return a
	})
	x.Look(both.read)
	x.Look(both.write)
	return both
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
