package programming

import (
	"fmt"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"

	"periph.io/x/conn/v3/physic"
)

// S-9.2.3 D: 60 mA or more for 6 ms ± 1 ms, on top of what the decoder draws anyway. The corners:

func shortestAcknowledge(x *examination.Check) { recognised(x, "pulse-60mA-5ms") }

func longestAcknowledge(x *examination.Check) { recognised(x, "pulse-60mA-7ms") }

// The standard gives no greatest amplitude.
func strongAcknowledge(x *examination.Check) { recognised(x, "pulse-500mA") }

// S-9.2.3 E allows a decoder 100 mA when its outputs are off.
func acknowledgeOnQuiescentLoad(x *examination.Check) { recognised(x, "quiescent-100mA") }

// recognised reads CVs of a decoder that answers with the pulse of a personality. Every bit is read as both one and
// zero, so a pulse that is missed and one that is imagined both show.
func recognised(x *examination.Check, personality string) {
	d := x.FitPersonality(personality)
	wrong := 0
	const cv = 66
	for _, value := range []byte{0x55, 0xaa, 0x0f, 0xf0} {
		d.SetCV(cv, value)
		if right, _ := reads(x, d, cv); !right {
			wrong++
		}
	}
	x.Number("wrong or missing values", wrong, x.Rig.Now())
}

// The pulse that must not count: as strong as an acknowledge, and over before the window opens.
const (
	noiseAmplitude = 100 * physic.MilliAmpere
	noiseWidth     = 5 * time.Millisecond
)

// noiseStarts are when the pulse begins: during the reset before the first service packet, during that packet, and during
// the second, at whose end the window opens. A packet takes 8 ms at the least.
var noiseStarts = []func(window) time.Duration{
	func(w window) time.Duration { return w.first - 6*time.Millisecond },
	func(w window) time.Duration { return w.first + time.Millisecond },
	func(w window) time.Duration { return w.open - noiseWidth - 2*time.Millisecond },
}

// S-9.2.3 D: the window opens with the end bit of the second service packet. A first read of a decoder that never
// answers shows when the station's packets come; in further ones the decoder draws a pulse before each window.
func noiseBeforeTheWindow(x *examination.Check) {
	d := x.FitPersonality("deaf")
	const cv = 29
	read := func(pulses []time.Duration) (found []window, got bool) {
		w := x.Watch(station.Programming)
		given := x.Now()
		for _, after := range pulses {
			d.Pulse(given+after, noiseWidth, noiseAmplitude)
		}
		_, err := x.AskToRead(cv)
		w.Stop()
		unacknowledged(x, "read a CV of a deaf decoder", err)
		return windows(runs(w), given), err == nil
	}
	quiet, got := read(nil)
	if got {
		x.Inconclusive("the station read a value from a decoder that does not answer, without any noise")
	}
	if len(quiet) == 0 {
		x.Inconclusive("the station sent no verify packets")
	}
	taken := 0
	for _, start := range noiseStarts {
		var pulses []time.Duration
		for _, q := range quiet {
			pulses = append(pulses, start(q))
		}
		noisy, got := read(pulses)
		for again := 1; again < noiseReads && !kept(pulses, quiet, noisy); again++ {
			noisy, got = read(pulses)
		}
		if !kept(pulses, quiet, noisy) {
			x.Inconclusive("a read with noise did not keep the timing of the one without: a pulse fell into the window, %d times", noiseReads)
		}
		if brokenOff(x, quiet, noisy) || got {
			taken++
		}
		if got {
			x.Wrong("reading a decoder that does not answer", "no acknowledge", "a value", x.Rig.Now())
		}
	}
	x.Number("false acknowledges", taken, x.Rig.Now())
}

// noiseReads is how often a read with noise is tried: over a real link a command does not always take the same time to the
// station, and a pulse has two milliseconds to spare. Our own choice.
const noiseReads = 5

// kept reports whether every pulse fell where it was meant to, before its window. A pulse that was taken for an answer ends the run of
// packets that it came with sooner than without noise. From there on the read runs ahead of the quiet one, and later pulses
// do not count.
func kept(pulses []time.Duration, quiet, noisy []window) bool {
	for i := range min(len(quiet), len(noisy)) {
		if from, to := pulses[i], pulses[i]+noiseWidth; from < noisy[i].shut && to > noisy[i].open {
			return false
		}
		if noisy[i].packets < quiet[i].packets {
			break
		}
	}
	return true
}

// brokenOff reports whether a pulse was taken for an answer.
func brokenOff(x *examination.Check, quiet, noisy []window) bool {
	for i := range min(len(quiet), len(noisy)) {
		if noisy[i].packets < quiet[i].packets {
			x.Wrong("a pulse before the window", fmt.Sprintf("%d verify packets, as without it", quiet[i].packets),
				fmt.Sprintf("%d, as after an acknowledge", noisy[i].packets), noisy[i].given+noisy[i].first)
			return true
		}
	}
	return false
}

// A window is the time in which an acknowledge counts: from the end of the second of a run of service packets to the
// last, with a packet more for a pulse that began late. Its times count from when the command was given.
type window struct {
	given      time.Duration // on the rig's clock
	packets    int
	first      time.Duration // start of the first packet
	open, shut time.Duration
}

func windows(all []run, given time.Duration) []window {
	var found []window
	for _, r := range all {
		switch r.meaning.(type) {
		case dcc.DirectVerify, dcc.DirectBit:
			packet := (r.end - r.start) / time.Duration(r.count)
			found = append(found, window{
				given:   given,
				packets: r.count,
				first:   r.start - given,
				open:    r.start - given + 2*packet,
				shut:    r.end - given + packet,
			})
		}
	}
	return found
}
