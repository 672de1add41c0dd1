package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/bench"
)

func openBench(ctx context.Context, r *rigFlags, data []byte, claim func(...string) error) (harness.Rig, *station.File, error) {
	rig, err := bench.Parse(r.rig, data)
	if err != nil {
		return nil, nil, err
	}
	file, err := r.readStation(rig.Station)
	if err != nil {
		return nil, nil, err
	}
	identity, err := r.identity(rig, file)
	if err != nil {
		return nil, nil, err
	}
	if identity != "" {
		if err := claim(identity); err != nil {
			return nil, nil, err
		}
	}
	built, err := bench.Open(ctx, rig, file, bench.Options{Seed: r.seed, Defect: r.defect, Link: r.link})
	if err != nil {
		return nil, nil, exit{verdict.ExitFault, err}
	}
	return built, file, nil
}

// identity is what no two runs may use at once: the device or the host that the station is reached by. A station inside
// the process is no physical thing, but the path at which it is served is there only once.
func (r *rigFlags) identity(rig *bench.File, file *station.File) (string, error) {
	if rig.Inside != nil {
		if rig.Inside.Path == "" {
			return "", nil
		}
		path, err := filepath.Abs(filepath.Join(rig.Folder, rig.Inside.Path))
		return "served at " + path, err
	}
	text := cmp.Or(r.link, rig.Link, file.Link)
	if text == "" && file.Adapter == nil {
		return "", &mistake{What: "no link to the station", Where: r.rig, Got: "neither [station] link nor --link",
			Want: "an address, such as serial:/dev/ttyACM0?baud=115200", Hint: "bufferstop ports lists what is connected"}
	}
	if text == "" {
		return "adapter " + strings.Join(file.Adapter.Command, " "), nil
	}
	address, err := parseLink(text, cmp.Or(whenSet(r.link, "--link"), r.rig))
	if err != nil {
		return "", err
	}
	if r.link == "" {
		address = address.In(rig.Folder)
	}
	return address.Identity(), nil
}

// whenSet is the name of a flag that was given.
func whenSet(value, name string) string {
	if value == "" {
		return ""
	}
	return name
}

// parseLink reads an address of --link or of a file.
func parseLink(text, where string) (link.Address, error) {
	address, err := link.ParseAddress(text)
	var wrong *link.AddressError
	if errors.As(err, &wrong) {
		return address, &mistake{What: "unreadable address", Where: where, Got: fmt.Sprintf("%s %+q", wrong.What, wrong.Got),
			Want: wrong.Want, Hint: wrong.Hint}
	}
	return address, err
}
