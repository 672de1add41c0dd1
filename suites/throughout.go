package suites

import (
	"slices"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/suites/audit"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/conformance"
	"bufferstop/suites/examination"
)

// A hearing listens to each track from the beginning of a run to its end, for the requirements that are judged by all that was
// carried in it.
type hearing struct {
	rig    harness.Rig
	audits map[station.Track]*audit.Audit
	tapes  map[station.Track]*harness.Tape
	kept   map[station.Track]map[time.Duration][]signal.Edge // the signal around failures, by their times
	stops  []func()
}

// hear begins to listen.
func hear(s *harness.Session) *hearing {
	h := &hearing{rig: s.Rig, audits: map[station.Track]*audit.Audit{}, tapes: map[station.Track]*harness.Tape{},
		kept: map[station.Track]map[time.Duration][]signal.Edge{}}
	for _, name := range []station.Track{station.Main, station.Programming} {
		if t := s.Rig.Track(name); t != nil {
			a := audit.New(audit.Options{Track: name, Cutout: s.File.Claims.Cutout, Editions: s.File.Claims.Editions})
			h.audits[name], h.tapes[name], h.kept[name] = a, s.Tape(name), map[time.Duration][]signal.Edge{}
			h.stops = append(h.stops, t.Listen(a))
		}
	}
	return h
}

// stop ends the listening.
func (h *hearing) stop() {
	for _, stop := range h.stops {
		stop()
	}
}

// asked takes note of a command. Where it switches power, what the track does meanwhile was asked for.
func (h *hearing) asked(e station.Exchange) {
	if h == nil || e.Operation != station.SetPower && e.Operation != station.Reset {
		return
	}
	until := e.Answered
	if until == 0 {
		until = h.rig.Now()
	}
	for _, a := range h.audits {
		a.Excuse(e.Begun, until)
	}
}

// hands says that a check begins, and returns what says that it has ended. Those that short a track, load it or take the supply away may
// make the station cut power at any time.
func (h *hearing) hands(r catalogue.Requirement) (off func()) {
	if !slices.ContainsFunc(r.Needs, func(need string) bool {
		return slices.Contains([]harness.Ability{harness.LayShort, harness.LayLoad, harness.LayInrush, harness.CutSupply}, harness.Ability(need))
	}) {
		return func() {}
	}
	all := func(on bool) {
		for _, a := range h.audits {
			a.Hands(on, h.rig.Now())
		}
	}
	all(true)
	return func() { all(false) }
}

// keep copies the signal around failures from the tapes while these still have it.
func (h *hearing) keep() {
	for track, a := range h.audits {
		for _, id := range audit.IDs() {
			for _, f := range a.Told(id) {
				if _, done := h.kept[track][f.At]; !done {
					h.kept[track][f.At] = h.tapes[track].Between(max(0, f.At-around), f.At+around)
				}
			}
		}
	}
}

// recorded is the signal that was kept around a time.
func (h *hearing) recorded(track station.Track, from, to time.Duration) []signal.Edge {
	for at, edges := range h.kept[track] {
		if max(0, at-around) == from && at+around == to {
			return edges
		}
	}
	return nil
}

// enough is how many packets a track has to have carried to be judged by them. Our own choice: some three seconds of a main track, and a
// CV that was read.
const enough = 300

// judge is the code of all requirements that are judged throughout a run. In one that has made the track carry next to nothing, as one of a
// few requirements, ordinary traffic is made for it.
func (h *hearing) judge(x *examination.Check) {
	a := h.audits[x.Track]
	if a.Packets() < enough {
		conformance.OrdinaryTraffic(x)
	}
	h.keep()
	x.Earlier = func(from, to time.Duration) []signal.Edge { return h.recorded(x.Track, from, to) }
	a.Report(x.Requirement.ID).Into(&x.Result, x.Requirement, x.Budget)
	x.Note("judged by all that the track has carried in this run: %d packets", a.Packets())
}
