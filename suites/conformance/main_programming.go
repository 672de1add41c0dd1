package conformance

import (
	"bytes"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// S-9.2.1 C: a decoder writes on the second of two identical packets, and any other packet to it in between, a
// broadcast included, makes it forget the first.
func programmingOnTheMain(x *examination.Check) {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	address := x.Locomotives(1)[0]
	x.Drive(address, 12, dcc.Forward) // its refresh packets are what gets in between
	x.Wait(x.CommandTime())
	const cv, value = 3, 42
	given := x.Now()
	x.Obeyed("write a CV on the main", x.Station.WriteOnMain(x.Context(), address, cv, value))
	want := dcc.MainWrite{Address: address, CV: cv, Value: value}
	if _, seen := x.Await(w, given, 2*x.CommandTime(), func(h harness.Heard) bool {
		return h.Meaning == dcc.Instruction(want)
	}); !seen {
		x.Wrong("programming on the main", want.String(), "no such packet", given)
	}
	x.Wait(x.CommandTime())
	w.Stop()
	x.Number("identical write packets in a row", longestRun(w.After(given), address, want), given)
}

// longestRun counts the most packets of the wanted kind that reach the address with no other packet to it in between.
func longestRun(packets []harness.Heard, address dcc.Address, want dcc.Instruction) int {
	wanted, err := want.Packet()
	if err != nil {
		return 0
	}
	run, longest := 0, 0
	for _, h := range packets {
		switch {
		case bytes.Equal(h.Bytes, wanted):
			run++
			longest = max(longest, run)
		case h.To(address), h.To(dcc.Broadcast):
			run = 0
		}
	}
	return longest
}
