package bench

import (
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/calibration"
	"bufferstop/harness/probe"
	"bufferstop/harness/station"

	"periph.io/x/conn/v3/physic"
)

// nominalSpan is the time between two edges for which the uncertainty of the rig is stated: half a one (S-9.1 A, 2020).
const nominalSpan = 58 * time.Microsecond

// Describe says what the probe sees and can do, as it said itself.
func (p *probed) Describe() harness.Description {
	d := harness.Description{
		Tracks:         map[station.Track][]harness.Ability{},
		Reasons:        map[station.Track]map[harness.Ability]string{},
		SampleInterval: p.sampleInterval,
		Calibration:    p.calibration,
	}
	identity := p.ProbeIdentity()
	d.Budgets = calibration.Budgets(identity, p.calibration)
	d.Observations = p.kept.Observations(identity, time.Now())
	if noting, has := p.eyes.(interface{ Notes() []string }); has { // as an analyser has
		notes := noting.Notes()
		p.noted = max(p.noted, len(notes))
		d.Observations = append(d.Observations, notes...)
	}
	for _, t := range p.tracks {
		if t == nil {
			continue
		}
		why := map[harness.Ability]string{}
		d.Tracks[t.name] = t.abilities(why)
		if len(why) > 0 {
			d.Reasons[t.name] = why
		}
		d.EdgeUncertainty = max(d.EdgeUncertainty, d.EdgeTimeU(t.name, nominalSpan))
		d.CurrentUncertainty = max(d.CurrentUncertainty, d.CurrentU(t.name, 0))
	}
	return d
}

// abilities are those of the track; why gets what there is to say of some.
func (t *probedTrack) abilities(why map[harness.Ability]string) (all []harness.Ability) {
	has := t.rig.hello.Has
	hands := t.rig.hands != nil
	why[harness.SeeVolts] = "a probe's comparators tell polarity and off, and not how high the voltage is; that takes an oscilloscope"
	if has(probe.SeesEdges) {
		all = append(all, harness.SeeEdges)
		if !has(probe.SeesOff) {
			why[harness.SeeEdges] = "the probe does not tell a track without voltage from one that stands still"
		}
	}
	if has(probe.SeesCurrent) && t.rating.SenseMicroamps > 0 && t.rig.sampleInterval > 0 {
		all = append(all, harness.SeeCurrent)
	}
	if hands && has(probe.HasShort) && t.rating.ShortMilliohms > 0 {
		if r := t.rating.Short(); r <= deadShort {
			all = append(all, harness.LayShort)
			why[harness.LayShort] = fmt.Sprintf("every dead short is laid as the %v of the switch", r)
		} else {
			why[harness.LayShort] = fmt.Sprintf("the switch has %v, which is no dead short (at most %v)", r, physic.ElectricResistance(deadShort))
		}
	}
	if !hands || !has(probe.HasLoad) || t.rating.LoadTop == 0 || t.rating.LoadMicroamps == 0 {
		if hands && has(probe.HasSupply) {
			all = append(all, harness.CutSupply)
		}
		return all
	}
	all = append(all, harness.LayLoad, harness.LayInrush)
	switch reason, condition := t.decoder(); {
	case reason != "":
		why[harness.FitDecoder] = reason
	default:
		all = append(all, harness.FitDecoder)
		if condition != "" {
			why[harness.FitDecoder] = condition
		}
	}
	if has(probe.HasSupply) {
		all = append(all, harness.CutSupply)
	}
	return all
}

// decoder says why no fake decoder can be fitted, or on what condition.
func (t *probedTrack) decoder() (reason, condition string) {
	switch slow := t.rig.slow; {
	case !t.rig.hello.Has(probe.SeesEdges):
		return "the probe does not see what it would have to answer", ""
	case slow == "":
		return "", ""
	case t.rig.canAnswer():
		return "", reflexCondition(slow)
	default:
		return slow, ""
	}
}
