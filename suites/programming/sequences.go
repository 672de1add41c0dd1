package programming

import (
	"bytes"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// A run is a stretch of identical packets, one after another.
type run struct {
	packet     dcc.Packet
	meaning    dcc.Instruction
	count      int
	start, end time.Duration
}

func (r run) isReset() bool { return r.packet.IsReset() }

// runs splits what a watch heard into stretches of identical packets. A power cut ends a stretch.
func runs(w *harness.Watch) []run {
	var found []run
	for _, h := range w.Packets {
		if h.Fault != signal.None {
			continue
		}
		last := len(found) - 1
		if last >= 0 && bytes.Equal(found[last].packet, h.Bytes) && !cutBetween(w, found[last].end, h.Start) {
			found[last].count++
			found[last].end = h.End
			continue
		}
		found = append(found, run{packet: h.Bytes, meaning: h.Meaning, count: 1, start: h.Start, end: h.End})
	}
	return found
}

func cutBetween(w *harness.Watch, from, to time.Duration) bool {
	for _, u := range w.Unusable {
		if u.Reason == signal.ReasonOff && u.Start < to && u.End > from {
			return true
		}
	}
	return false
}

// S-9.2.3 E: 20 preamble bits for packets of service mode.
func longPreamble(x *examination.Check) {
	var ones verdict.Spread
	for _, w := range append(methodWatches(x), x.ServiceTraffic()) {
		for _, h := range w.Packets {
			if h.Service {
				ones.Add(float64(h.Preamble), h.Start)
			}
		}
	}
	x.SpreadOfCounts("preamble in service mode", ones)
}

// S-9.2.3 E, power-on cycle: 20 valid packets of any kind from power on to the first instruction, each time. A station may leave the
// power on after an operation, and owes no cycle then.
func powerOnCycle(x *examination.Check) {
	var before verdict.Spread
	for _, w := range append(methodWatches(x), x.ServiceTraffic()) {
		before.Join(sincePowerOn(w))
	}
	if before.Count == 0 {
		x.Inconclusive("the station sent no service-mode packet after power on")
	}
	x.SpreadOfCounts("packets before the first instruction", before)
}

// sincePowerOn counts the valid packets from each power on to the first instruction after it.
func sincePowerOn(w *harness.Watch) (before verdict.Spread) {
	n, waits, last := 0, false, w.Begun
	for _, h := range w.Packets {
		if cutBetween(w, last, h.Start) {
			n, waits = 0, true
		}
		last = h.End
		switch {
		case h.Service && waits:
			waits = false
			before.Add(float64(n), h.Start)
		case h.Fault == signal.None:
			n++
		}
	}
	return before
}

// S-9.2.3 E, direct mode: at least three resets, then at least five verify packets. No acknowledge ends any of them
// here, since the decoder is deaf.
func directVerifySequence(x *examination.Check) {
	a := unanswered(x)
	if a.unread {
		x.NotClaimed("the station has no command to read a CV, nor to verify one")
	}
	resets, packets, _ := sequences(a.read, func(i dcc.Instruction) bool {
		switch told := i.(type) {
		case dcc.DirectVerify:
			return true
		case dcc.DirectBit:
			return !told.Write
		}
		return false
	})
	x.SpreadOfCounts("resets before a verify", resets)
	x.SpreadOfCounts("identical verify packets", packets)
}

// S-9.2.3 E, direct mode: at least three resets, five write packets, and six more of them or resets while the decoder
// recovers.
func directWriteSequence(x *examination.Check) {
	a := unanswered(x)
	if a.unwritten {
		x.NotClaimed("the station has no command to write a CV")
	}
	resets, packets, withRecovery := sequences(a.write, func(i dcc.Instruction) bool {
		switch told := i.(type) {
		case dcc.DirectWrite:
			return true
		case dcc.DirectBit:
			return told.Write
		}
		return false
	})
	x.SpreadOfCounts("resets before a write", resets)
	x.SpreadOfCounts("identical write packets", packets)
	x.SpreadOfCounts("packets of write and recovery", withRecovery)
}

// resetsBefore is how many resets begin a sequence (S-9.2.3 E, July 2012).
const resetsBefore = 3

// sequences counts, for each run of an instruction, the resets before it, its own packets, and these with the resets
// after it. Resets that lead on to another sequence begin it: three of them are not recovery.
func sequences(w *harness.Watch, wanted func(dcc.Instruction) bool) (before, own, withRecovery verdict.Spread) {
	all := runs(w)
	for i, r := range all {
		if !wanted(r.meaning) {
			continue
		}
		before.Add(float64(resetsAhead(all, i)), r.start)
		own.Add(float64(r.count), r.start)
		withRecovery.Add(float64(recovered(w, all, i)), r.start)
	}
	return before, own, withRecovery
}

// resetsAhead counts the resets just before a run.
func resetsAhead(all []run, i int) int {
	if i == 0 || !all[i-1].isReset() {
		return 0
	}
	return all[i-1].count
}

// recovered counts the packets of a run and the resets after it that are its own.
func recovered(w *harness.Watch, all []run, i int) int {
	r := all[i]
	n := r.count
	if i+1 < len(all) && all[i+1].isReset() && !cutBetween(w, r.end, all[i+1].start) {
		n += all[i+1].count
		if i+2 < len(all) && all[i+2].packet.IsService() && !cutBetween(w, r.end, all[i+2].start) {
			n -= min(resetsBefore, all[i+1].count)
		}
	}
	return n
}

// S-9.2.3 C: a decoder leaves service mode 20 ms after the last valid reset or service packet. It can only tell that a
// packet is valid at its end, so the time runs from end to end.
func gaps(x *examination.Check) {
	both := unanswered(x)
	var between verdict.Spread
	for _, w := range append(methodWatches(x), both.read, both.write, x.ServiceTraffic()) {
		first, last := -1, -1
		for i, h := range w.Packets {
			if _, isInstruction := h.Meaning.(dcc.Reset); !isInstruction && h.Bytes.IsService() {
				last = i
				if first < 0 {
					first = i
				}
			}
		}
		for i := max(first, 1); i <= last; i++ {
			before, h := w.Packets[i-1], w.Packets[i]
			if !cutBetween(w, before.End, h.Start) {
				between.Add(float64(h.End-before.End), before.End)
			}
		}
	}
	x.SpreadOfTimes("end of packet to end of the next", between)
}
