package main

import (
	"os"
	"path/filepath"

	"bufferstop/harness"
	"bufferstop/harness/station"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
)

// defaultRig is the file in rigs.Files that is used when no other is named.
const defaultRig = "simulated.rig.toml"

// open reads the rig file and the station file, the one that the rig file names unless --station names another, and
// builds the rig.
func (r *runCommand) open() (harness.Rig, *station.File, error) {
	rig, err := r.readRig()
	if err != nil {
		return nil, nil, err
	}
	file, err := r.readStation(rig)
	if err != nil {
		return nil, nil, err
	}
	options := rig.Options
	options.Seed, options.Defect = r.seed, r.defect
	built, err := simulated.New(options)
	if err != nil {
		return nil, nil, err
	}
	return built, file, nil
}

func (r *runCommand) readRig() (*simulated.File, error) {
	if r.rig == "" {
		return simulated.Load(rigs.Files, defaultRig)
	}
	data, err := os.ReadFile(r.rig)
	if err != nil {
		return nil, err
	}
	return simulated.Parse(r.rig, data)
}

// readStation reads the station file and notes where it was. The files that are built in have no path.
func (r *runCommand) readStation(rig *simulated.File) (*station.File, error) {
	r.stationPath = r.station
	if r.station == "" && r.rig != "" {
		r.stationPath = filepath.Join(filepath.Dir(r.rig), filepath.FromSlash(rig.Station))
	}
	if r.stationPath == "" {
		return station.LoadFS(rigs.Files, rig.Station)
	}
	return station.LoadFile(r.stationPath)
}
