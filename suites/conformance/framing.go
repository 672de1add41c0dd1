package conformance

import (
	"fmt"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.2 A and C: the stream holds packets and nothing else. A watch joins and leaves a running stream, so what is cut at
// its ends is nobody's fault.
func framing(x *examination.Check) {
	broken := 0
	var at time.Duration
	for _, u := range x.Disturbed(traffic(x)) {
		if u.Reason == signal.ReasonOff && x.Track == station.Programming {
			continue // between two commands of service mode
		}
		broken++
		at = u.Start
		x.Wrong("the track between packets", "a preamble or a power cut that was asked for",
			fmt.Sprintf("%s for %v", u.Reason, u.End-u.Start), u.Start)
	}
	x.Number("stretches that hold no packet", broken, at)
}
