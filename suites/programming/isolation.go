package programming

import (
	"cmp"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.2.3 B: service mode is for the isolated track. The main track runs on: its packets keep coming (S-9.2 C), and none
// of them is a reset or looks like one of service mode. The locomotive that is driven has an address far from 112 to 127;
// one of those may be in refresh since an earlier check, so what is on the track before is not held against the station.
func mainDuringProgramming(x *examination.Check) {
	x.RunTrack(station.Main)
	for _, address := range x.LocomotivesUpTo(1) {
		x.Drive(address, 15, dcc.Forward)
	}
	x.Wait(x.CommandTime())
	before := x.Watch(station.Main)
	x.Wait(cmp.Or(x.File.Declares.RefreshTime, time.Second)) // a second is common practice, no source
	before.Stop()
	locomotives := map[byte]bool{} // first bytes, which are addresses
	for _, h := range before.Packets {
		if h.Bytes.IsService() {
			locomotives[h.Bytes[0]] = true
		}
	}
	x.FitDefault()
	w := x.Watch(station.Main)
	x.ReadAndWrite(1, 3, 11)
	w.Stop()
	leaked, at := 0, x.Rig.Now()
	for _, h := range w.Packets {
		if h.Bytes.IsReset() || h.Bytes.IsService() && !locomotives[h.Bytes[0]] {
			leaked++
			at = h.Start
			x.Wrong("the main track during programming", "packets for running trains", h.Meaning.String(), h.Start)
		}
	}
	x.Number("service-mode packets on the main", leaked, at)
	x.SpreadOfTimes("start to start", examination.Intervals(w))
}
