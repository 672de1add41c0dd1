package conformance

import (
	"slices"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// powerUpTime leaves room for 30 packets of the power-up sequence and some of what follows, where they are as short as they may be. RP-9.2.4 A
// asks for that many at least, and a station may send more of them: longestPowerUp is when we have waited enough. Our own choice.
const (
	powerUpTime    = time.Second
	longestPowerUp = 10 * time.Second
)

// waitForPowerUp waits until the power-up sequence that began at the given time is over.
func waitForPowerUp(x *examination.Check, w *harness.Watch, given time.Duration) {
	x.Wait(powerUpTime)
	for x.Now() < given+longestPowerUp && !powerUpOf(w.After(given)).over() {
		x.Wait(powerUpTime)
	}
}

// A start is what was seen of both tracks from the loss of the supply on; given is when the main track was asked for.
type start struct {
	bothWatches
	given time.Duration
}

// startOf has the station started and its main track switched on. A locomotive is given a speed before the track has power, so
// that there is an instruction to wait for.
func startOf(x *examination.Check) start {
	return examination.Shared(x, "start of the station", func() start {
		s := start{bothWatches: watchBoth(x)}
		x.Fitted("cut the station's supply", x.Restart(x.Context()))
		_, err := x.Station.Identify(x.Context())
		x.Obeyed("answer after a start", err)
		if x.File.Claims.Track(station.Main) {
			for _, address := range x.LocomotivesUpTo(1) {
				x.Drive(address, 10, dcc.Forward)
			}
			s.given = x.Now()
			x.PowerOn(station.Main)
			waitForPowerUp(x, s.main, s.given)
		} else {
			x.Wait(powerUpTime)
		}
		s.stop()
		return s
	})
}

// RP-9.2.4 A: a station that knows nothing of what was before sends 20 resets, then 10 idles, before any instruction.
func powerUp(x *examination.Check) {
	s := startOf(x)
	sequence(x, x.Look(s.main).After(s.given))
}

// sequence judges whether packets begin as RP-9.2.4 A has it.
func sequence(x *examination.Check, packets []harness.Heard) {
	if len(packets) == 0 {
		x.Inconclusive("no packet on the track within %v of power on", powerUpTime)
	}
	s := powerUpOf(packets)
	if len(s.rest) > 0 {
		x.Note("first other packet: %v", s.rest[0].Meaning)
	} else if !s.over() {
		x.Inconclusive("nothing but %d reset packets and %d idle packets within %v of power on", s.resets, s.idles, longestPowerUp)
	}
	x.Number("reset packets first", s.resets, packets[0].Start)
	x.Number("idle packets after them", s.idles, packets[min(s.resets, len(packets)-1)].Start)
}

// A beginning is how packets begin: with so many resets, then so many idles, then the rest.
type beginning struct {
	resets, idles int
	rest          []harness.Heard
}

func powerUpOf(packets []harness.Heard) beginning {
	b := beginning{rest: packets}
	b.resets = leading(&b.rest, isReset)
	b.idles = leading(&b.rest, func(i dcc.Instruction) bool { return i == dcc.Instruction(dcc.Idle{}) })
	return b
}

// over reports whether the sequence was seen to its end, ten idle packets of RP-9.2.4 A, or something that ends it.
func (b beginning) over() bool { return len(b.rest) > 0 || b.idles >= 10 }

func isReset(i dcc.Instruction) bool {
	reset, ok := i.(dcc.Reset)
	return ok && !reset.Hard
}

// RP-9.2.4 A again: power that was off by command may have been off for a day. A station that claims to know all the same what
// was before has to show it.
func powerOffAndOn(x *examination.Check) {
	x.RunTrack(station.Main)
	address := x.Locomotives(1)[0]
	want := dcc.Speed{Address: address, Steps: x.Steps(), Direction: dcc.Reverse, Step: 13}
	x.Drive(address, want.Step, want.Direction)
	x.Wait(x.CommandTime())
	x.Obeyed("switch the main track off", x.Station.SetPower(x.Context(), station.Main, false))
	x.Wait(x.CommandTime())
	w := x.Watch(station.Main)
	given := x.Now()
	x.PowerOn(station.Main)
	waitForPowerUp(x, w, given)
	packets := w.After(given)
	if !x.File.Claims.PowerOffKeepsState {
		w.Stop()
		sequence(x, packets)
		return
	}
	x.Wait(x.RefreshRound())
	w.Stop()
	same := 0
	for _, h := range w.After(given) {
		if h.Fault == signal.None && h.Meaning == dcc.Instruction(want) {
			same++
		}
	}
	if same == 0 {
		x.Wrong("after power off and on", want.String(), "no such packet", given)
	}
	x.Number("speed packets as before", same, given)
}

// firstBit is how long after the voltage the second bit begins at the latest: a one of the longest halves (S-9.1 A, Table 1, 2020).
// Probes see voltage come somewhat late, and then the first half-bit is too short to be known for what it is.
const firstBit = 2 * 61 * time.Microsecond

// firstTime is how much of the beginning is looked at closely.
const firstTime = 100 * time.Millisecond

// S-9.2 A and C: a packet has a preamble, the first one too, and what is on a track is packets. A decoder that gets its power
// takes for true whatever comes first.
func firstOfPower(x *examination.Check) {
	s := startOf(x)
	w := x.Look(s.main)
	packets := w.After(s.given)
	if len(packets) == 0 {
		x.Inconclusive("no packet on the track within %v of power on", powerUpTime)
	}
	var began, ones verdict.Spread
	began.Add(float64(packets[0].Start-s.given), s.given)
	ones.Add(float64(packets[0].Preamble), packets[0].Start)
	// The voltage came when the last off state before the first packet ended.
	voltage := s.given
	for _, u := range w.Unusable {
		if u.Reason == signal.ReasonOff && u.End <= packets[0].Start {
			voltage = max(voltage, u.End)
		}
	}
	if piece := packets[0].Start - voltage; piece > 0 && piece < firstBit {
		ones = verdict.Spread{}
		ones.Add(float64(packets[0].Preamble+1), packets[0].Start)
	}
	until := voltage + firstTime
	broken, faults, instructions := 0, 0, 0
	at := packets[0].Start
	for _, u := range x.Disturbed(w) {
		if u.End > voltage && u.Start < until && u.Start >= voltage {
			broken++
			x.Wrong("the first 100 ms of power", "whole packets", string(u.Reason)+" for "+(u.End-u.Start).String(), u.Start)
		}
	}
	first := slices.IndexFunc(packets, func(h harness.Heard) bool { return h.Start >= until })
	if first < 0 {
		first = len(packets)
	}
	for _, h := range packets[:first] {
		switch {
		case h.Fault != signal.None:
			faults++
			x.Wrong("a packet in the first 100 ms of power", "one without fault", h.Bytes.String()+": "+h.Fault.String(), h.Start)
		case !isReset(h.Meaning) && h.Meaning != dcc.Instruction(dcc.Idle{}):
			instructions++
			x.Wrong("a packet in the first 100 ms of power", "a reset or an idle", h.Meaning.String(), h.Start)
		}
	}
	x.SpreadOfCommandTimes("command to the first packet", began)
	x.SpreadOfCounts("ones before the first packet", ones)
	x.Number("stretches that hold no packet", broken, at)
	x.Number("packets with faults", faults, at)
	x.Number("instructions before the end of the sequence", instructions, at)
}

// leading counts the valid packets at the head of the list that are of a kind, and takes them off.
func leading(packets *[]harness.Heard, kind func(dcc.Instruction) bool) int {
	n := 0
	for n < len(*packets) && (*packets)[n].Fault == signal.None && kind((*packets)[n].Meaning) {
		n++
	}
	*packets = (*packets)[n:]
	return n
}
