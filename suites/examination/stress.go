package examination

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/signal"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"

	"github.com/onsi/gomega"
)

// NotFitted ends the check because what stands between us and the station does not let it be done.
func (x *Check) NotFitted(format string, args ...any) { x.leave(verdict.NotFitted, format, args...) }

// NotClaimed ends the check because the station does not claim what it is about.
func (x *Check) NotClaimed(format string, args ...any) { x.leave(verdict.NotClaimed, format, args...) }

func (x *Check) leave(v verdict.Verdict, format string, args ...any) {
	reason := fmt.Sprintf(format, args...)
	x.Worsen(v, reason)
	gomega.Expect(x).To(Conform(), reason)
}

// SpreadOfCommandTimes judges every value of a spread of times that begin with bytes on the link, in nanoseconds.
func (x *Check) SpreadOfCommandTimes(quantity string, s verdict.Spread) {
	x.measured(Reading{quantity, verdict.Nanoseconds, s, x.limit(quantity, 0), x.Budget(uncertainty.CommandTime)})
}

// OnePolarity judges the longest time that a track stood at one polarity while a stopped watch was set; it is none on a track
// without voltage. How busy the host was has no part in it.
func (x *Check) OnePolarity(w *harness.Watch) {
	var s verdict.Spread
	s.Add(float64(w.Steady().Longest), w.Steady().At)
	x.SpreadOfTimes("longest time of one polarity", s)
	x.halvesFirm()
}

// Bits judges the half-bits of a stopped watch.
func (x *Check) Bits(w *harness.Watch) {
	x.Spread("one half-bit", &w.Statistics().OneHalf)
	x.SpreadOfDifferences("difference of the halves of a one", &w.Statistics().OneDifference)
	x.Spread("zero half-bit", &w.Statistics().ZeroHalf)
	x.Spread("whole zero", &w.Statistics().ZeroTotal)
	x.OnePolarity(w)
}

// WholePackets judges whether a stopped watch heard packets without fault and nothing else. Off states of the track count where
// they are not to be.
func (x *Check) WholePackets(w *harness.Watch, offs bool) {
	broken, faults := 0, 0
	brokenAt, faultsAt := w.Ended, w.Ended
	for _, u := range x.Disturbed(w) {
		if u.Reason == signal.ReasonOff && !offs {
			continue
		}
		broken++
		brokenAt = u.Start
		x.Wrong("the track between packets", "a preamble", fmt.Sprintf("%s for %v", u.Reason, u.End-u.Start), u.Start)
	}
	for _, h := range w.Packets {
		if h.Fault != signal.None {
			faults++
			faultsAt = h.Start
			x.Wrong("a packet", "one without fault", fmt.Sprintf("%s: %s", h.Bytes, h.Fault), h.Start)
		}
	}
	x.Number("stretches that hold no packet", broken, brokenAt)
	x.Number("packets with faults", faults, faultsAt)
}

// Speeds are the speed instructions that packets told, for those who want to know of new ones.
func Speeds(packets []harness.Heard) (told []dcc.Speed) {
	for _, h := range packets {
		if speed, ok := h.Meaning.(dcc.Speed); ok && h.Fault == signal.None && !slices.Contains(told, speed) {
			told = append(told, speed)
		}
	}
	return told
}

// Said is what the station has said on the link since the log had so many entries: its bytes as they came.
func (x *Check) Said(since int) []byte {
	var all strings.Builder
	entries := x.Log().Entries
	for _, e := range entries[min(since, len(entries)):] {
		if e.Direction == link.Received {
			all.Write(e.Bytes)
		}
	}
	return []byte(all.String())
}

// RefreshRound is how long a round over all locomotives under control may take: as declared, or a second where nothing is (common
// practice, no source).
func (x *Check) RefreshRound() time.Duration {
	if d := x.File.Declares.RefreshTime; d > 0 {
		return d
	}
	return time.Second
}
