package audit

import (
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/examination"
)

// offKind says what an off state is.
type offKind uint8

const (
	switchedOff offKind = iota // the track was switched off, or is one that may be off at any time
	cutout                     // of a station that claims them, where they belong
	gap                        // between packets of a track that is on
)

// kindOf tells what an off state is. On the programming track power comes and goes with the operations of service mode (S-9.2.3 E, July
// 2012), and no off state is a gap. On the main track one that outlasts the 30 ms within which a packet has to come (S-9.2 C, July 2004) is
// a track that was switched off, or has tripped; so is one in which the capture begins or ends, or a stretch that the probe has lost, since
// nobody knows how long it lasts.
func (a *Audit) kindOf(u signal.Unusable) offKind {
	switch {
	case a.options.Cutout && a.lastEnd != never && examination.InCutout(a.lastEnd, u):
		return cutout
	case a.options.Cutout && a.lastEnd == never && examination.AsLongAsCutout(u):
		return cutout // the packet before was not heard whole, so nothing says that it is none
	case a.options.Track == station.Programming, a.finishing, a.losing, u.Start == a.offBefore, u.Start <= a.first, u.End-u.Start > longestGap, a.handled(u.Start):
		return switchedOff
	}
	return gap
}

// longestGap is the limit of the catalogue.
var longestGap = time.Duration(*limitOf("SIG-008", "an off state that counts as one").Max)

// offStates judges SIG-008: no off state between packets, S-9.1 C (2020), S-9.2 C (July 2004).
type offStates struct {
	indifferent
	tally
	waiting   signal.Unusable // the newest gap, which a command may still excuse
	isWaiting bool
	switched  int64
	asked     [2]time.Duration // of the newest command that switches power: when it began, and when it was carried out
}

func newOffStates() *offStates { return &offStates{asked: [2]time.Duration{never, never}} }

func (j *offStates) off(a *Audit, u signal.Unusable, kind offKind) {
	switch kind {
	case gap:
		j.settle()
		j.waiting, j.isWaiting = u, true
		j.forgive()
	case switchedOff:
		j.switched++
	}
}

// excuse takes back the gap that lies in a command's time, and one that is still to be told: a station may answer before it switches.
func (j *offStates) excuse(from, to time.Duration) {
	j.asked = [2]time.Duration{from, to}
	j.forgive()
}

// forgive takes back the gap if a command asked for it. What comes later than the limit on gaps after the command was carried out has
// nothing to do with it; our own choice.
func (j *offStates) forgive() {
	if from, to := j.asked[0], j.asked[1]; j.isWaiting && from != never && j.waiting.Start <= to+longestGap && j.waiting.End >= from {
		j.isWaiting = false
		j.switched++
	}
}

func (j *offStates) settle() {
	if !j.isWaiting {
		return
	}
	j.isWaiting = false
	if j.count(j.waiting.Start) {
		j.keep("between packets", "voltage all the time", "off for "+span(j.waiting.End-j.waiting.Start), j.waiting.Start)
	}
}

func (j *offStates) report(a *Audit) Report {
	j.settle()
	r := j.number(a, "off states between packets")
	if j.switched > 0 {
		r.note("the track was off %d times for longer than a gap, or by command: that is not judged", j.switched)
	}
	return r
}

// limitOf is the catalogue's limit on a quantity.
func limitOf(id, quantity string) catalogueLimit {
	q, _ := catalogue.Find(id)
	l, ok := q.Limit(quantity)
	if !ok {
		panic(id + " has no limit on " + quantity + " in the catalogue")
	}
	return l.Bounds(0)
}
