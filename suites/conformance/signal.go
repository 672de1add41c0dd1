package conformance

import (
	"time"

	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.1 A: t1, each half of a one.
func oneHalfBits(x *examination.Check) {
	x.Spread("one half-bit", &traffic(x).Statistics().OneHalf)
}

// S-9.1 A: t1d, the difference of the two halves of a one.
func halvesOfAOne(x *examination.Check) {
	x.SpreadOfDifferences("difference of the halves of a one", &traffic(x).Statistics().OneDifference)
}

// S-9.1 A: t0, each half of a zero.
func zeroHalfBits(x *examination.Check) {
	x.Spread("zero half-bit", &traffic(x).Statistics().ZeroHalf)
}

// S-9.1 A: both halves of a zero together.
func wholeZeros(x *examination.Check) {
	x.Spread("whole zero", &traffic(x).Statistics().ZeroTotal)
}

// floodTime is how long valid commands arrive back to back.
const floodTime = 2 * time.Second

// S-9.1 A again, while the firmware is busy taking commands: the way in which bit timing most often breaks.
func timingUnderSerialLoad(x *examination.Check) {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	report := x.Flood(floodTime)
	w.Stop()
	x.Note("%d commands, %.0f bytes/s; %d refused, %d not answered", report.Sent, report.Rate(), report.Refused, report.Lost)
	if report.Done == 0 {
		x.Inconclusive("the station took none of %d commands", report.Sent)
	}
	x.Spread("one half-bit", &w.Statistics().OneHalf)
	x.SpreadOfDifferences("difference of the halves of a one", &w.Statistics().OneDifference)
	x.Spread("zero half-bit", &w.Statistics().ZeroHalf)
}
