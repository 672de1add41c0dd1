package suites

import (
	"fmt"
	"maps"
	"slices"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/suites/review"

	"periph.io/x/conn/v3/physic"
)

// describe writes into the record what is examined, and on what.
func describe(run *record.Record, s *harness.Session, selection Selection) {
	d := s.Rig.Describe()
	run.Rig = record.Rig{
		Name: d.Name, Kind: d.Kind, Seed: d.Seed,
		Tracks:             map[string][]string{},
		EdgeUncertainty:    d.EdgeUncertainty,
		SampleInterval:     d.SampleInterval,
		CurrentUncertainty: float64(d.CurrentUncertainty) / float64(physic.MilliAmpere),
	}
	for _, b := range d.Budgets {
		if err := b.Check(); err != nil {
			run.Notes = append(run.Notes, err.Error())
			continue
		}
		run.Rig.Budgets = append(run.Rig.Budgets, record.BudgetOf(b))
	}
	if c := d.Calibration; c != nil {
		run.Rig.Calibration = &record.Calibration{Date: c.Date, Probe: c.Name, Serial: int64(c.Serial), ValidDays: c.ValidDays, Tool: c.Tool}
	}
	run.Rig.Observations = d.Observations
	for track, abilities := range d.Tracks {
		for _, a := range abilities {
			run.Rig.Tracks[string(track)] = append(run.Rig.Tracks[string(track)], string(a))
		}
	}
	for _, track := range slices.Sorted(maps.Keys(d.Reasons)) {
		for _, a := range slices.Sorted(maps.Keys(d.Reasons[track])) {
			run.Notes = append(run.Notes, fmt.Sprintf("the rig's %q on the %s track: %s", a, track, d.Reasons[track][a]))
		}
	}
	run.Station.Name = s.File.Name
	run.Station.Dialect = s.File.DialectFile
	if a := s.File.Adapter; a != nil {
		run.Station.Dialect = "adapter " + a.Command[0]
	}
	run.Station.Observations = review.Observations(s.File)
	run.Station.Claims, run.Station.Declares = s.File.Stated.Claims, s.File.Stated.Declares

	run.Selection = record.Selection{Suites: selection.Suites, Requirements: selection.Requirements,
		Shard: selection.Shard, Shards: selection.Shards}
}
