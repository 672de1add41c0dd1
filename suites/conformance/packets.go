package conformance

import (
	"fmt"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/audit"
	"bufferstop/suites/examination"
)

// S-9.2 A: 14 ones, of which the end bit of the packet before may be one (footnote 3). The statistics count without
// that end bit, so the packets are counted here. What a cutout takes of a preamble was sent; that enough is left of it is BID-003's
// matter.
func preamble(x *examination.Check) {
	var ones verdict.Spread
	w := traffic(x)
	taken := x.TakenByCutouts(w)
	for i, h := range w.Packets {
		if i > 0 { // the first one's preamble may have begun before the watch
			ones.Add(float64(h.Preamble+taken[i]), h.Start)
		}
	}
	x.SpreadOfCounts("preamble", ones)
}

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

// S-9.2 B, S-9.2.1 C: exclusive or.
func errorByte(x *examination.Check) {
	wrong := 0
	var at time.Duration
	for _, h := range traffic(x).Packets {
		if h.Fault == signal.BadErrorByte {
			wrong++
			at = h.Start
			x.Wrong("error byte", "exclusive or of the bytes before it", "packet "+h.Bytes.String(), h.Start)
		}
	}
	x.Number("packets with a wrong error byte", wrong, at)
}

// S-9.2.1: three to six bytes. The partitions that may have more are PKT-012's.
func packetLength(x *examination.Check) {
	var bytes verdict.Spread
	for _, h := range traffic(x).Packets {
		if !audit.Advanced(x.File.Claims.Editions, h.Bytes) {
			bytes.Add(float64(len(h.Bytes)), h.Start)
		}
	}
	x.SpreadOfCounts("packet length", bytes)
}
