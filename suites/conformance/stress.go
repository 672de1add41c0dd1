package conformance

import (
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// keepsItsLimits judges the track of a stopped watch as that of a station at rest: S-9.1 A, S-9.2 A to C.
func keepsItsLimits(x *examination.Check, w *harness.Watch) {
	x.Look(w)
	x.Bits(w)
	x.WholePackets(w, true)
	x.SpreadOfTimes("start to start", examination.Intervals(w))
}

// floodTime is how long valid commands arrive back to back.
const floodTime = 2 * time.Second

// S-9.1 A again, while the firmware is busy taking commands: the way in which bit timing most often breaks.
func underSerialLoad(x *examination.Check) {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	report := x.Flood(floodTime)
	w.Stop()
	x.Note("%d commands, %.0f bytes/s; %d refused, %d not answered", report.Sent, report.Rate(), report.Refused, report.Lost)
	if report.Done == 0 {
		x.Inconclusive("the station took none of %d commands", report.Sent)
	}
	keepsItsLimits(x, w)
}

// A read keeps the firmware as busy as it gets on the other track: it looks at the current, and judges packet by packet. Without a
// fake decoder it looks for one all the same.
func whileCVsAreRead(x *examination.Check) {
	x.RunTrack(station.Main)
	for _, address := range x.LocomotivesUpTo(1) {
		x.Drive(address, 11, dcc.Forward)
	}
	if x.Rig.Track(station.Programming) != nil && x.Rig.Describe().Can(station.Programming, harness.FitDecoder) {
		x.FitDefault()
	}
	w := x.Watch(station.Main)
	x.ReadOrWrite(1, 3, 10)
	w.Stop()
	keepsItsLimits(x, w)
}

// How long the link is closed, and how long the track is watched when it is open again: a board that starts anew when its port
// is opened has started by then. Our own choice.
const (
	closedTime = 500 * time.Millisecond
	openTime   = 500 * time.Millisecond
)

// A host that comes and goes is nothing to a layout. A station may take the power off for safety's sake, and a board may start
// anew; what it must not do is leave DC or half packets on the track.
func linkOpenedAnew(x *examination.Check) {
	x.RunTrack(station.Main)
	for _, address := range x.LocomotivesUpTo(1) {
		x.Drive(address, 6, dcc.Forward)
	}
	w := x.Watch(station.Main)
	x.Fitted("close the link and open it again", x.Reopen(x.Context(), closedTime))
	x.Answers()
	x.Wait(openTime)
	w.Stop()
	if n, first := x.Offs(w); n > 0 {
		x.Note("the station took the power off, first at %v", first)
	}
	x.Look(w)
	x.Bits(w)
	x.WholePackets(w, false)
}
