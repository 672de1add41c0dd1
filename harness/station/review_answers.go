package station

import (
	"fmt"
	"slices"

	"bufferstop/harness/written"
)

// samples are messages that an answer is made of: what it says, and what its pattern matches.
func (d *Dialect) samples(a answer) []string {
	var all []string
	if a.say != nil {
		for _, groups := range d.sampleGroups(&a) {
			if text, err := d.speak(&a, groups); err == nil && !slices.Contains(all, text) {
				all = append(all, text)
			}
		}
	}
	if len(all) > 0 {
		return all
	}
	return patternSamples(a.pattern)
}

// refusals sees that a station can refuse.
func (v *review) refusals() {
	var without []Operation
	for _, o := range v.d.Operations() {
		if !slices.ContainsFunc(v.d.operations[o].answers, func(a answer) bool { return a.means == MeansRefused }) {
			without = append(without, o)
		}
	}
	if len(without) > 0 {
		v.remark("operation."+string(without[0]), "no answer that means %q%s: a station that refuses will seem to talk nonsense", MeansRefused,
			andMore(len(without)-1, "more operations without"))
	}
}

func (v *review) operation(o Operation, r *request) {
	for i, a := range r.answers {
		if v.answers[a.path] {
			continue
		}
		if a.pattern.MatchString("") && a.pattern.MatchString("zq 8 %") {
			v.remark(a.path+".pattern", "it matches everything, whatever a station says")
		}
		samples := v.d.samples(a)
		if len(samples) == 0 {
			continue
		}
		var first *answer
		covered := 0
		for _, text := range samples {
			if taken := r.answerTo([]byte(text)); taken != nil && taken != &r.answers[i] && taken.path != a.path {
				covered++
				if first == nil {
					first = taken
				}
			}
		}
		line := func() int { return v.d.places.Problem(first.path+".pattern", "", "", "").Line }
		switch {
		case covered == len(samples):
			v.answers[a.path] = true
			v.remark(a.path+".pattern", "it is never reached for %s: the pattern in line %d matches what it would, as in %s", o, line(), written.Quote(samples[0]))
		case covered > 0 && first.means != a.means && !(a.means == MeansRefused && isRefusal(first.means)):
			v.answers[a.path] = true
			v.remark(a.path+".pattern", "some of what means %q for %s is taken for %q by the pattern in line %d", a.means, o, first.means, line())
		}
	}
}

func (v *review) events() {
	restarts := false
	for i, e := range v.d.events {
		restarts = restarts || e.restart
		first := ""
		during := map[Operation]bool{}
		for _, text := range v.d.samples(e) {
			for _, o := range v.d.Operations() {
				a := v.d.operations[o].answerTo([]byte(text))
				if a == nil || a.means == MeansEvent {
					continue
				}
				if first == "" {
					first = fmt.Sprintf("while %s is under way, %s is taken for an answer that means %q", o, written.Quote(text), a.means)
				}
				during[o] = true
			}
			for _, earlier := range v.d.events[:i] {
				if earlier.name != e.name && earlier.pattern.MatchString(text) {
					v.remark(e.path+".pattern", "%s is the event %s", written.Quote(text), written.Quote(earlier.name))
				}
			}
		}
		if first != "" {
			v.remark(e.path+".pattern", "%s%s", first, andMore(len(during)-1, "more operations"))
		}
	}
	if !restarts {
		v.remark("event", "no event with restart = true: a station that restarts by itself only seems to be silent")
	}
}

// isRefusal reports whether an answer is a refusal for a reason of its own. Its pattern rightly goes before the general one.
func isRefusal(m Means) bool { return m == MeansNoAcknowledge || m == MeansTripped || m == MeansBusy }
