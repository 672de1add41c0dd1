package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"bufferstop/harness/record"
	"bufferstop/harness/report"
	"bufferstop/harness/verdict"
	"bufferstop/suites"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/waiver"
)

// defaultOut is where the reports go when no other place is named.
const defaultOut = "bufferstop-report"

// A runCommand is the flags of one run.
type runCommand struct {
	rigFlags
	suites, requirements []string
	defects              []string // as given; the one of them is rigFlags.defect
	shard                shardFlag
	revision             string
	out                  string
	record               string
	waivers              string
	waived               []record.Waiver
}

func newRun() *cobra.Command {
	var r runCommand
	cmd := &cobra.Command{
		Use:   "run",
		Short: "Examine a station and write a report",
		Long: `run examines a command station on its two tracks by the three suites, conformance, programming and shortcircuit, and
writes record.json, report.html, junit.xml, summary.md and a capture for every failure.

Without --rig and --station it examines the simulated reference station, which needs nothing attached.

Exit codes: 0 the station conforms, with or without observations; 1 it does not; 2 usage or configuration; 3 a fault of
the rig or of the harness; 4 incomplete, a MUST was not run; 5 another run holds the rig; 130 interrupted.
An interrupt makes the rig safe and writes the record of what was done until then; a second one ends at once.

--shard divides a long run: run part 1/2 and part 2/2 at the same time, each with an --out of its own and a rig of its own
if the rig is a physical thing, and make one record of them with bufferstop merge. Of n parts each takes about the same
time, but none less than the longest requirement.

--waivers FILE lets known failures pass: a TOML file with a [[waiver]] for each, of requirement, track (all if left out),
reason, owner, expires (a date) and expected, a part of the failure's text or a list of such parts. A waived check still runs.
When it passes, fails otherwise or is skipped, or when the waiver has expired, the station does not conform: exit code 1.

Before anything runs the station file is held against the standards. What they make mandatory and the station does not
have the file has to say, as lacks = ["bit write"]; the report tells it.

BUFFERSTOP_LOCKS in the environment names another directory for the locks that keep runs from each other's rigs.`,
		Example: `  bufferstop run
  bufferstop run --suite conformance --suite programming
  bufferstop run --requirement SIG-001 --requirement PKT-001
  bufferstop run --defect slow-crystal --out /tmp/broken
  bufferstop run --station mine.station.toml --build firmware.hex
  bufferstop run --waivers known.toml
  bufferstop run --shard 1/2 --out part1`,
		Args: noArguments,
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	r.add(cmd)
	flags.StringArrayVar(&r.suites, "suite", nil, "run only the suite of this `NAME`; may be repeated")
	flags.StringArrayVar(&r.requirements, "requirement", nil, "check only the requirement with this `ID`; may be repeated")
	flags.Var(&r.shard, "shard", "check only part I of N of the requirements, `I/N`; bufferstop merge puts the parts together")
	flags.StringArrayVar(&r.defects, "defect", nil, "seed the defect of this `NAME` into the simulated station")
	r.habitFlag(cmd)
	flags.Int64Var(&r.seed, "seed", 1, "the `NUMBER` from which a simulated rig draws all that is random")
	flags.StringVar(&r.build, "build", "", "the firmware image `FILE` under test; its SHA-256 goes into the record")
	flags.StringVar(&r.revision, "revision", "", "the source `REVISION` of the firmware, for the record")
	flags.StringVar(&r.record, "record", "", "keep the raw stream of a bench's probe in `FILE`; a bare name is among the captures of the run")
	flags.StringVar(&r.waivers, "waivers", "", "let the known failures pass that this `FILE` lists")
	flags.StringVar(&r.out, "out", defaultOut, "the `DIRECTORY` for the reports")
	complete(cmd, "suite", catalogue.Suites())
	complete(cmd, "requirement", requirementIDs())
	complete(cmd, "shard", []string{"1/2", "2/2"})
	complete(cmd, "defect", defectNames())
	complete(cmd, "seed", nil)
	complete(cmd, "revision", nil)
	if err := errors.Join(cmd.MarkFlagDirname("out"), cmd.MarkFlagFilename("waivers", "toml")); err != nil { // only when a flag does not exist
		panic(err)
	}
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return r.run(cmd) }
	return cmd
}

// run reads and checks all that was asked for before anything is started, examines the station, and writes the reports.
func (r *runCommand) run(cmd *cobra.Command) error {
	checks, err := r.selected()
	if err != nil {
		return err
	}
	if r.waivers != "" {
		if r.waived, err = waiver.Load(r.waivers); err != nil {
			return fileMistake(err)
		}
	}
	image, err := readImage(r.build)
	if err != nil {
		return err
	}
	ctx, interrupts := catchInterrupts(cmd.Context(), cmd.ErrOrStderr())
	defer interrupts.release()
	r.review = true
	r.stream = streamIn(r.out, r.record)
	defer r.stream.close(nil) // also when nothing comes of it
	rig, err := r.open(ctx, cmd)
	if err != nil {
		return err
	}
	defer rig.close() // also when the harness panics; a second close does nothing
	if image.Image == "" {
		if image, err = readImage(r.image); err != nil {
			return err
		}
	}
	image.SourceRevision, image.Symbols = r.revision, r.symbols
	if err := prepareOut(r.out); err != nil {
		return err
	}

	p := newProgress(cmd, rig.Rig, checks)
	p.begin(rig.file.Name)
	run, err := suites.Run(ctx, rig.Rig, rig.file, suites.Options{
		Selection: r.selection(),
		OnStart: func(id, track string) {
			interrupts.reclaim()
			p.start(id, track)
		},
		OnResult: p.result,
		OnAgain:  interrupts.again,
		Evidence: r.out,
		Waivers:  r.waived,
		Version:  version(),
	})
	p.erase()
	closing := rig.close()
	if run == nil {
		return runFault(err)
	}
	r.stream.close(run)
	suites.KeepAdapterLog(run, r.out, r.adapter.text())
	r.complete(run, image)
	if saving := report.Save(r.out, run); saving != nil {
		return exit{verdict.ExitFault, errors.Join(err, saving)}
	}
	switch {
	case ctx.Err() != nil && err != nil:
		return exit{verdict.ExitInterrupted, errors.New("interrupted before anything was checked")}
	case err != nil:
		return runFault(err)
	}
	p.end(run, r.out)
	if closing != nil {
		return exit{verdict.ExitFault, fmt.Errorf("closing the rig: %w", closing)}
	}
	return exit{code: run.ExitCode}
}

// selected counts the checks that the selection asks for; it refuses names that do not exist and a selection of nothing.
func (r *runCommand) selected() (checks int, err error) {
	for _, name := range r.suites {
		if err := known("unknown suite", "--suite", name, catalogue.Suites(), ""); err != nil {
			return 0, err
		}
	}
	for _, id := range r.requirements {
		if err := known("unknown requirement", "--requirement", id, requirementIDs(), "bufferstop requirements lists them"); err != nil {
			return 0, err
		}
	}
	if len(r.defects) > 1 {
		return 0, &mistake{What: "more than one defect", Where: "--defect", Got: quote(strings.Join(r.defects, ", ")), Want: "one",
			Hint: "one at a time tells which requirement catches it"}
	}
	if len(r.defects) == 1 {
		r.defect = r.defects[0]
	}
	if err := r.seeds(); err != nil {
		return 0, err
	}
	chosen, err := r.selection().Chosen()
	var shard *suites.ShardError
	if errors.As(err, &shard) {
		return 0, r.shard.empty(shard)
	}
	if err != nil { // the names are known, so nothing is in both lists
		return 0, &mistake{What: "nothing to check", Where: "--suite and --requirement", Got: "no requirement in both",
			Hint: "bufferstop requirements lists the suite of each"}
	}
	for _, q := range chosen {
		checks += len(q.Tracks)
	}
	return checks, nil
}

func (r *runCommand) selection() suites.Selection {
	return suites.Selection{Suites: r.suites, Requirements: r.requirements, Shard: r.shard.part, Shards: r.shard.of}
}

// complete adds to the record what only the command line knows.
func (r *runCommand) complete(run *record.Record, image record.Build) {
	run.Repeat = r.repeat()
	run.Defect = r.defect
	run.Rig.File, run.Station.File = r.rig, r.stationPath
	run.Build.Image, run.Build.ImageSHA256 = image.Image, image.ImageSHA256
	run.Build.ImageSize, run.Build.SourceRevision = image.ImageSize, image.SourceRevision
	run.Build.Symbols = image.Symbols
}

// repeat is the command line that does the run again.
func (r *runCommand) repeat() string {
	words := []string{"bufferstop", "run"}
	add := func(flag string, values ...string) {
		for _, v := range values {
			if v != "" {
				words = append(words, flag, shellWord(v))
			}
		}
	}
	add("--rig", r.rig)
	add("--station", r.station)
	add("--link", r.link)
	add("--suite", r.suites...)
	add("--requirement", r.requirements...)
	add("--defect", r.defect)
	add("--habit", r.habit)
	add("--seed", fmt.Sprint(r.seed))
	add("--build", r.build)
	add("--revision", r.revision)
	add("--record", r.record)
	add("--waivers", r.waivers)
	add("--shard", r.shard.String()) // the last, where suites.Merge takes it off
	return strings.Join(words, " ")
}

// runFault sorts the errors of suites.Run: a selection is the user's, all else the rig's or ours.
func runFault(err error) error {
	var selection *suites.SelectionError
	var shard *suites.ShardError
	if errors.As(err, &selection) || errors.As(err, &shard) {
		return err
	}
	return exit{verdict.ExitFault, err}
}
