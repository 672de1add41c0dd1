package conformance

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// S-9.2 C: one packet every 30 ms, start bit to start bit.
func packetRate(x *examination.Check) {
	x.SpreadOfTimes("start to start", examination.Intervals(traffic(x)))
}

// refreshTime is how long the refresh is watched: several rounds over a handful of locomotives.
const refreshTime = 5 * time.Second

// S-9.2 C: packets are to be repeated as often as possible. With several locomotives under control, the longest time
// that one of them goes without a packet shows whether the scheduler forgets any.
func refreshOfEveryLocomotive(x *examination.Check) {
	x.RunTrack(station.Main)
	locomotives := x.SomeLocomotives(6)
	for i, address := range locomotives {
		x.Drive(address, 3+i, dcc.Forward)
	}
	w := x.Watch(station.Main)
	from := x.Rig.Now()
	x.Wait(refreshTime)
	to := x.Rig.Now()
	w.Stop()
	var waits verdict.Spread
	for _, address := range locomotives {
		last := from
		for _, h := range w.Packets {
			if h.To(address) {
				waits.Add(float64(h.End-last), last)
				last = h.End
			}
		}
		waits.Add(float64(to-last), last)
	}
	x.Promise("longest wait of a locomotive", time.Duration(waits.Max), x.File.Declares.RefreshTime, waits.MaxAt,
		x.Budget(uncertainty.EdgeTime))
}
