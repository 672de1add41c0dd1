package suites

import (
	"bufferstop/harness"
	"bufferstop/harness/record"

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
	for track, abilities := range d.Tracks {
		for _, a := range abilities {
			run.Rig.Tracks[string(track)] = append(run.Rig.Tracks[string(track)], string(a))
		}
	}
	run.Station.Name = s.File.Name
	run.Station.Dialect = s.File.DialectFile
	if a := s.File.Adapter; a != nil {
		run.Station.Dialect = "adapter " + a.Command[0]
	}
	run.Station.Claims, run.Station.Declares = s.File.Stated.Claims, s.File.Stated.Declares

	run.Selection = record.Selection{Suites: selection.Suites, Requirements: selection.Requirements,
		Shard: selection.Shard, Shards: selection.Shards}
}
