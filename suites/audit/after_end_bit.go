package audit

import (
	"slices"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// afterEndBit judges SIG-006: the bit stream goes on for at least 26 µs after each end bit, S-9.2 footnote 3 (July 2004). Where another
// packet follows it goes on at least until that one's start bit; where the track goes off, until then.
//
// A station that switches off the moment it is told to cuts its signal anywhere, and meets those 26 µs by chance: in a stream of
// packets of 6 to 10 ms about once in three hundred times. So what a few of many switches do is told and not judged: see byChance.
type afterEndBit struct {
	tally
	spread   verdict.Spread // of what is judged in any case
	end      time.Duration  // of the packet before, never when what followed is not known
	offs     int64
	switched verdict.Spread // the same, where the track was switched off
	soon     int64          // of these, how many within the 26 µs
	switches int64          // that came in the middle of a packet
	carried  bool           // a packet since the track was off
}

var signalAfterEnd = limitOf("SIG-006", "signal after an end bit")

func newAfterEndBit() *afterEndBit { return &afterEndBit{end: never} }

func (j *afterEndBit) packet(_ *Audit, p *signal.Packet) {
	if j.end != never {
		j.spread.Add(float64(p.StartBit-j.end), j.end)
	}
	j.end, j.carried = p.End, true
}

// switchedOffSoon is what the failures of switches are told by.
const switchedOffSoon = "the track after an end bit, as it is switched off"

func (j *afterEndBit) off(a *Audit, u signal.Unusable, kind offKind) {
	switch {
	case j.end != never && u.Start >= j.end && !a.handled(u.Start):
		after, what := u.Start-j.end, "the track after an end bit"
		soon := float64(after) < *signalAfterEnd.Min
		j.offs++
		if kind == switchedOff {
			what = switchedOffSoon
			j.switched.Add(float64(after), j.end)
			if soon {
				j.soon++
			}
		} else {
			j.spread.Add(float64(after), j.end)
		}
		if soon && j.count(j.end) {
			j.keep(what, "signal for 26 µs", "off "+span(after)+" after it", j.end)
		}
	case kind == switchedOff && j.carried && !a.handled(u.Start):
		j.switches++ // in the middle of a packet
	}
	j.end, j.carried = never, false
}

// byChance reports whether the switches that came too soon after an end bit are so few that chance makes them: one, or one in twenty.
// Chance alone makes one in three hundred. Our own choice.
func (j *afterEndBit) byChance() bool {
	all := j.switches + j.switched.Count
	return j.soon > 0 && all > 1 && j.soon <= max(1, all/20)
}

// A track that goes off with the last edge of an end bit leaves no signal after it at all.
func (j *afterEndBit) unusable(a *Audit, u signal.Unusable) {
	j.end = never
	if u.Reason == signal.ReasonOffInEndBit {
		j.end = u.End
	}
}

func (j *afterEndBit) report(*Audit) Report {
	spread, failures := j.spread, j.failures
	var r Report
	if j.byChance() {
		failures = slices.DeleteFunc(slices.Clone(failures), func(f record.Failure) bool { return f.What == switchedOffSoon })
		r.note("%d of %d times the track was switched off within 26 µs of an end bit: so few are chance, and are not judged", j.soon, j.switches+j.switched.Count)
	} else {
		spread.Join(j.switched)
	}
	r.Readings, r.Failures = []Reading{{"signal after an end bit", TimedToOff, spread}}, failures
	if n := spread.Count; n > 0 {
		r.note("%d of %d packets were followed by an off state, the others by a packet", j.offs, n)
	}
	return r
}
