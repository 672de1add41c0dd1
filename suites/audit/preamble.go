package audit

import (
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// preamble judges PKT-001: 14 ones, of which the end bit of the packet before may be one, S-9.2 A and footnote 3 (July 2004). A preamble
// whose beginning was not seen is left out.
type preamble struct {
	indifferent
	spread verdict.Spread
}

func newPreamble() *preamble { return &preamble{} }

func (j *preamble) packet(_ *Audit, p *signal.Packet) {
	if !p.PreambleSeen {
		return
	}
	ones := p.Preamble
	if p.AfterEndBit {
		ones++
	}
	j.spread.Add(float64(ones), p.Start)
}

func (j *preamble) report(*Audit) Report {
	return Report{Readings: []Reading{{"preamble", Counted, j.spread}}}
}
