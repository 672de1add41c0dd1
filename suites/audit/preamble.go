package audit

import (
	"math"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// preamble judges PKT-001: 14 ones, of which the end bit of the packet before may be one, S-9.2 A and footnote 3 (July 2004). A preamble
// whose beginning was not seen is left out. Ones that a cutout takes of a preamble were sent, since the bits of the station go on
// meanwhile: they count.
type preamble struct {
	spread verdict.Spread
	// The newest cutout, never if a packet has followed: the end of the packet before, and when the voltage came back.
	sent, back time.Duration
}

func newPreamble() *preamble { return &preamble{sent: never} }

func (j *preamble) off(a *Audit, u signal.Unusable, kind offKind) {
	j.sent = never
	if kind == cutout {
		j.sent, j.back = a.lastEnd, u.End
	}
}

func (j *preamble) unusable(*Audit, signal.Unusable) { j.sent = never }

func (j *preamble) packet(a *Audit, p *signal.Packet) {
	ones, seen := p.Preamble, p.PreambleSeen
	if one := 2 * a.Statistics().OneHalf.Mean(); j.sent != never && one > 0 && float64(p.Start-j.back) <= one {
		ones, seen = ones+int(math.Round(float64(p.Start-j.sent)/one)), true
	}
	j.sent = never
	if !seen {
		return
	}
	if p.AfterEndBit {
		ones++
	}
	j.spread.Add(float64(ones), p.Start)
}

func (j *preamble) report(*Audit) Report {
	return Report{Readings: []Reading{{"preamble", Counted, j.spread}}}
}
