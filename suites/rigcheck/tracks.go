package rigcheck

import (
	"slices"

	"bufferstop/harness"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/examination"
)

// abilities are all that a rig may have on a track, in the order in which they are told.
var abilities = []harness.Ability{harness.SeeEdges, harness.SeeCurrent, harness.LayShort, harness.LayLoad,
	harness.LayInrush, harness.FitDecoder, harness.CutSupply, harness.ReopenLink, harness.SeeVolts}

// tracks says for each output what the rig can do there, and which requirements that leaves.
func tracks(rig harness.Rig, file *station.File) []Track {
	// What applies depends on rig and file alone; the station is not asked.
	session := &harness.Session{Rig: rig, File: file}
	var all []Track
	for _, name := range []station.Track{station.Main, station.Programming} {
		t := Track{
			Name:    string(name),
			Claimed: file.Claims.Track(name),
			Reached: rig.Track(name) != nil,
			Can:     []harness.Ability{},
			Cannot:  []harness.Ability{},
		}
		for _, a := range abilities {
			if t.Reached && rig.Describe().Can(name, a) {
				t.Can = append(t.Can, a)
			} else {
				t.Cannot = append(t.Cannot, a)
			}
			if why := rig.Describe().Reasons[name][a]; why != "" {
				t.Reasons = append(t.Reasons, Reason{a, why})
			}
		}
		for _, q := range catalogue.All() {
			if !slices.Contains(q.Tracks, t.Name) {
				continue
			}
			t.Checks++
			switch v, _ := examination.New(session, q, name).Applies(); v {
			case verdict.NotClaimed:
				t.NotClaimed++
			case verdict.NotFitted:
				t.NotFitted++
			}
		}
		all = append(all, t)
	}
	return all
}
