package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/pelletier/go-toml/v2"
	"github.com/spf13/cobra"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/lock"
	"bufferstop/rigs/simulated"
	"bufferstop/suites/review"
)

// defaultRig is the file in rigs.Files that is used when no other is named.
const defaultRig = "simulated.rig.toml"

// rigFlags say which rig and which station, and how to reach it.
type rigFlags struct {
	rig, station, link string
	defect, habit      string
	seed               int64
	build              string // the firmware image under test, as given
	image              string // the one that the rig runs; empty for a rig that runs none
	symbols            []record.Symbol
	adapter            *adapterLog
	stream             *probeStream // nil when the stream of the probe is not to be kept
	review             bool         // hold the station file against the catalogue
	stationPath        string       // of the station file that was read; empty for one that is built in
	replayed           string       // the capture that stands in for the probe of a bench; empty for a real probe
}

// reads reports whether a file is one of those that the rig is made of: to write it would destroy it.
func (r *rigFlags) reads(there os.FileInfo) bool {
	return slices.ContainsFunc([]string{r.rig, r.stationPath, r.build, r.image, r.replayed}, func(name string) bool {
		read, err := os.Stat(name)
		return err == nil && os.SameFile(there, read)
	})
}

// add adds the flags to a verb.
func (r *rigFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&r.rig, "rig", "", "the rig `FILE` (default: the simulated rig)")
	flags.StringVar(&r.station, "station", "", "the station `FILE` (default: the one that the rig file names)")
	flags.StringVar(&r.link, "link", "", "the `ADDRESS` of the link to the station, in place of the one in the files")
	complete(cmd, "link", nil)
	if err := errors.Join(cmd.MarkFlagFilename("rig", "toml"), cmd.MarkFlagFilename("station", "toml")); err != nil {
		panic(err) // only when a flag does not exist
	}
}

// An openRig is one that this process has to itself.
type openRig struct {
	harness.Rig
	file  *station.File
	locks []*lock.Lock // none for a rig that is no physical thing
}

// close frees the rig and gives it back. A second call does nothing.
func (o *openRig) close() error {
	return errors.Join(o.Rig.Close(), o.giveBack())
}

func (o *openRig) giveBack() error {
	var all []error
	for _, l := range slices.Backward(o.locks) {
		all = append(all, l.Release())
	}
	return errors.Join(all...)
}

// A rigKind is one kind of rig that rig files describe.
type rigKind struct {
	name string
	// open builds the rig and reads its station file. For a physical rig it calls claim with its identities before it
	// touches it, and again with those that it learns of while it is built.
	open func(ctx context.Context, r *rigFlags, data []byte, claim func(identities ...string) error) (harness.Rig, *station.File, error)
}

var rigKinds = []rigKind{{"simulated", openSimulated}, {"bench", openBench}, {"firmware", openFirmware}}

// open reads the rig file and the station file, the one that the rig file names unless --station names another, takes the
// rig's lock and builds the rig.
func (r *rigFlags) open(ctx context.Context, cmd *cobra.Command) (*openRig, error) {
	name, data, err := r.readRig()
	if err != nil {
		return nil, fileMistake(err)
	}
	kind, err := kindOf(name, data)
	if err != nil {
		return nil, err
	}
	if r.stream.wanted() && kind.name != "bench" {
		return nil, noStream(r.stream.name, name)
	}
	opened := &openRig{}
	claim := func(identities ...string) error {
		held, err := claimRig(ctx, cmd, identities...)
		if err == nil {
			opened.locks = append(opened.locks, held)
		}
		return err
	}
	stderr := cmd.ErrOrStderr()
	r.adapter = newAdapterLog(stderr, screenOf(stderr, "auto").live)
	opened.Rig, opened.file, err = kind.open(ctx, r, data, claim)
	if err == nil {
		return opened, nil
	}
	err = errors.Join(err, opened.giveBack())
	if ctx.Err() != nil {
		return nil, exit{verdict.ExitInterrupted, errors.New("interrupted before anything was tried")}
	}
	return nil, fileMistake(err)
}

// readRig reads the rig file, or the one that is built in.
func (r *rigFlags) readRig() (name string, data []byte, err error) {
	if r.rig == "" {
		data, err = rigs.Files.ReadFile(defaultRig)
		return defaultRig, data, err
	}
	data, err = os.ReadFile(r.rig)
	return r.rig, data, err
}

// kindOf finds out what kind of rig a file describes. A file that cannot be read is left to the first kind, which says
// what is wrong with it and where.
func kindOf(name string, data []byte) (rigKind, error) {
	var file struct {
		Kind any `toml:"kind"`
	}
	if toml.Unmarshal(data, &file) != nil {
		return rigKinds[0], nil
	}
	var names []string
	for _, k := range rigKinds {
		if file.Kind == k.name {
			return k, nil
		}
		names = append(names, quote(k.name))
	}
	m := &mistake{What: "unknown kind of rig", Where: name, Got: fmt.Sprintf("kind = %+.100q", fmt.Sprint(file.Kind)), Want: oneOf(names)}
	if file.Kind == nil {
		m.What, m.Got, m.Hint = "no kind of rig", "no kind", `say kind = "simulated" for instance`
	}
	return rigKind{}, m
}

func openSimulated(_ context.Context, r *rigFlags, data []byte, _ func(...string) error) (harness.Rig, *station.File, error) {
	if r.link != "" {
		return nil, nil, &mistake{What: "a simulated rig has no link to choose", Where: "--link", Got: quote(r.link),
			Hint: `name a rig with kind = "bench" by --rig FILE`}
	}
	name := r.rig
	if name == "" {
		name = defaultRig
	}
	rig, err := simulated.Parse(name, data)
	if err != nil {
		return nil, nil, err
	}
	file, err := r.readStation(r.stationFor(rig))
	if err != nil {
		return nil, nil, err
	}
	options := rig.Options
	options.Seed, options.Defect, options.Dialect = r.seed, r.defect, file.Dialect
	options.Habit = cmp.Or(r.habit, options.Habit)
	if file.Dialect == nil {
		return nil, nil, &mistake{What: "no dialect for the simulated station to speak", Where: r.stationPath, Got: "an adapter",
			Want: "a dialect", Hint: "an adapter is no file of rules; it needs a station of its own, as on a bench"}
	}
	built, err := simulated.New(options)
	if err != nil {
		return nil, nil, err
	}
	return built, file, nil
}

// reviewed holds a station file against the catalogue, for the verbs that examine a station.
func (r *rigFlags) reviewed(file *station.File, err error) (*station.File, error) {
	if err == nil && r.review {
		err = review.Station(file)
	}
	return file, err
}

// stationFor is the station file of a simulated rig: of the rigs that come with the program, a habit, and a defect which only stations with
// some habit have, come with the station that claims it.
func (r *rigFlags) stationFor(rig *simulated.File) string {
	if r.rig != "" || r.defect == "" && r.habit == "" {
		return rig.Station
	}
	return simulated.Options{Defect: r.defect, Habit: r.habit}.StationFile()
}

// readStation reads the station file, which the rig file names relative to itself, and notes where it was. The files that
// are built in have no path.
func (r *rigFlags) readStation(named string) (*station.File, error) {
	r.stationPath = r.station
	if r.station == "" && r.rig != "" {
		r.stationPath = filepath.FromSlash(named)
		if !filepath.IsAbs(r.stationPath) {
			r.stationPath = filepath.Join(filepath.Dir(r.rig), r.stationPath)
		}
	}
	if r.stationPath == "" {
		file, err := station.LoadFS(rigs.Files, named)
		return r.reviewed(file, err)
	}
	file, err := r.reviewed(station.LoadFile(r.stationPath))
	var unreadable *fs.PathError
	if r.station == "" && errors.As(err, &unreadable) {
		return nil, &mistake{What: "unreadable station file", Where: placeOf(r.rig, "station.file"), Got: quote(named) + ", " + reason(err),
			Want: "the name of a file", Hint: "it is relative to the rig file"}
	}
	return file, err
}
