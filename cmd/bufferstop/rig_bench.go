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
	document "bufferstop/harness/written"
	"bufferstop/rigs/bench"
	"bufferstop/rigs/serving"
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
	if err := r.fits(rig, file); err != nil {
		return nil, nil, err
	}
	identity, err := r.identity(rig, file)
	if err != nil {
		return nil, nil, err
	}
	identities, err := probeIdentity(rig)
	if err != nil {
		return nil, nil, err
	}
	if identity != "" {
		identities = append(identities, identity)
	}
	if len(identities) > 0 {
		if err := claim(identities...); err != nil {
			return nil, nil, err
		}
	}
	options := bench.Options{Seed: r.seed, Defect: r.defect, Link: r.link, Claim: claim}
	r.replayed = rig.Replayed()
	if r.stream.wanted() {
		if err := r.stream.create(r.reads); err != nil {
			return nil, nil, err
		}
		options.Record = r.stream
	}
	if r.adapter != nil {
		options.Stderr = r.adapter
	}
	built, err := bench.Open(ctx, rig, file, options)
	var out exit
	var written *document.Error // of the calibration
	if err != nil && !errors.As(err, &out) && !errors.As(err, &written) {
		err = exit{verdict.ExitFault, err}
	}
	if err != nil {
		return nil, nil, err
	}
	return built, file, nil
}

// fits refuses what the command line and the files do not agree on, before anything is taken.
func (r *rigFlags) fits(rig *bench.File, file *station.File) error {
	if err := r.noHabit(); err != nil {
		return err
	}
	if r.link != "" {
		if _, err := parseLink(r.link, "--link"); err != nil {
			return err
		}
	}
	if r.stream.wanted() && !rig.Streams() {
		return noStream(r.stream.name, r.rig)
	}
	if rig.Inside == nil {
		if r.defect != "" {
			return &mistake{What: "a real station has no defect to seed", Where: "--defect", Got: quote(r.defect),
				Hint: "only a station inside this program has one by order: a table [inside] in the rig file"}
		}
		return nil
	}
	if r.link != "" && !strings.HasPrefix(r.link, rig.Scheme()) {
		return &mistake{What: "no way to the station inside", Where: "--link", Got: fmt.Sprintf("%+q", r.link),
			Want: "an address that begins with " + rig.Scheme(), Hint: fmt.Sprintf("it is served by %s: see [inside] in %s", rig.Inside.Serve, r.rig)}
	}
	if r.link == "" && rig.Link == "" && rig.Inside.NeedsLink() {
		return noLink(r.rig)
	}
	if file.Adapter != nil && rig.Inside.Virtual() {
		return &mistake{What: "an adapter lives in real time", Where: r.rig, Got: `pace = "virtual"`, Want: `pace = "real" in [inside]`}
	}
	for _, path := range []string{rig.ServedAt(), rig.ProbeServedAt()} {
		if path == "" {
			continue
		}
		if err := servable(path, r.rig); err != nil {
			return err
		}
	}
	return nil
}

// probeIdentity is what no two runs may use at once of the probe: its device, or the analyser of its address.
func probeIdentity(rig *bench.File) ([]string, error) {
	if path := rig.ProbeServedAt(); path != "" {
		identity, err := servedAt(path)
		return []string{identity}, err
	}
	return rig.ProbeIdentities()
}

// servable refuses a path at which no pseudo-terminal can be served, whoever else serves there.
func servable(path, where string) error {
	if err := serving.Vacant(path); err != nil {
		return &mistake{What: "cannot serve the station", Where: where, Got: err.Error(), Want: "a place of its own"}
	}
	return nil
}

// identity is what no two runs may use at once: the device or the host that the station is reached by. A station inside
// the process is no physical thing, but the path at which it is served is there only once.
func (r *rigFlags) identity(rig *bench.File, file *station.File) (string, error) {
	if rig.Inside != nil {
		return servedAt(rig.ServedAt())
	}
	text := cmp.Or(r.link, rig.Link, file.Link)
	if text == "" && file.Adapter == nil {
		return "", noLink(r.rig)
	}
	if text == "" {
		return adapterIdentity(file.Adapter), nil
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

// noLink says that nothing says where the station is.
func noLink(rig string) error {
	return &mistake{What: "no link to the station", Where: rig, Got: "neither [station] link nor --link",
		Want: "an address, such as serial:/dev/ttyACM0?baud=115200", Hint: "bufferstop ports lists what is connected"}
}

// servedAt is the identity of the path at which a simulated station is served; empty for none.
func servedAt(path string) (string, error) {
	if path == "" {
		return "", nil
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if folder, err := filepath.EvalSymlinks(filepath.Dir(path)); err == nil { // one that is not there is said elsewhere
		path = filepath.Join(folder, filepath.Base(path))
	}
	return "served at " + path, nil
}

// adapterIdentity is that of a rig of which only the adapter knows where it is: two runs of the same command at the same
// place are taken to mean the same station.
func adapterIdentity(a *station.Adapter) string {
	words := make([]string, len(a.Command))
	for i, word := range a.Command {
		words[i] = shellWord(word)
	}
	return fmt.Sprintf("adapter %s in %s", strings.Join(words, " "), a.Folder)
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
		return address, &mistake{What: "unreadable address", Where: where, Got: wrong.Quoted(),
			Want: wrong.Want, Hint: wrong.Hint}
	}
	return address, err
}
