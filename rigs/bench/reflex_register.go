package bench

import (
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/probe"
	"bufferstop/harness/station"
)

// registerRules are those for an access by one of the methods beside direct mode: the page register, the write, and the verify
// of what is there. The probe cannot know on which page a decoder would be, so that it answers for the right one.
func (r *reflex) registerRules(a harness.Access) ([]probe.ReflexRule, error) {
	c := &r.config
	page, register, err := byte(1), 1, error(nil)
	switch a.Method {
	case station.Paged:
		if page, register, err = dcc.CVPage(a.CV); err != nil {
			return nil, err
		}
	case station.Register:
		var has bool
		if register, has = dcc.CVRegister(a.CV); !has {
			return nil, nil // a station refuses it
		}
	}
	type answer struct {
		to    dcc.Instruction
		after time.Duration
	}
	var answers []answer
	if !c.NoWriteAcknowledge {
		answers = append(answers, answer{dcc.PagePreset{}, 0})
		if page != 1 {
			answers = append(answers, answer{dcc.Register{Write: true, Register: dcc.PageRegister, Value: page}, 0})
		}
	}
	if page == 1 || !c.NoPagedMode {
		value := r.decoder.CV(a.CV)
		if a.Write && r.decoder.Takes(a.CV, a.Value) {
			value = a.Value // what a station verifies afterwards
			if !c.NoWriteAcknowledge {
				answers = append(answers, answer{dcc.Register{Write: true, Register: register, Value: value}, c.Storage})
			}
		}
		if r.decoder.Readable(a.CV) {
			answers = append(answers, answer{dcc.Register{Register: register, Value: value}, 0})
		}
	}
	var all []probe.ReflexRule
	for _, answer := range answers {
		rule, err := r.rule(answer.to, answer.after)
		if err != nil {
			return nil, err
		}
		all = append(all, rule)
	}
	return all, nil
}
