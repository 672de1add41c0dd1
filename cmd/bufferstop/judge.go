package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"bufferstop/harness/record"
	"bufferstop/harness/report"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/judgement"
	"bufferstop/suites/review"
)

// A judgeCommand is the flags of one judgement.
type judgeCommand struct {
	track       *choice
	uncertainty time.Duration
	signal      string
	cutout      bool
	station     string
	out         string
}

func newJudge() *cobra.Command {
	j := judgeCommand{track: &choice{value: string(station.Main), from: []string{string(station.Main), string(station.Programming)}}}
	cmd := &cobra.Command{
		Use:   "judge FILE...",
		Short: "Judge a capture of a track, without a rig",
		Long: `judge holds a capture of a track (VCD, IEEE 1364-2005 section 18; also .gz; - is standard input) against every requirement
for which the signal is enough: bit timing, preambles, framing, bytes, instructions, spacing, rate and cutouts. It needs no rig, and
writes what run does: record.json, report.html, junit.xml and summary.md. Times count from the first time stamp of the file.

One wire is one track: 1 and 0 are its two polarities, x and z are off. A level that stays at the beginning of a file is not
judged, since a wire alone does not tell a track without voltage. A wire that is never x or z stands at a level where the track is
off: for more than 30 ms that is not judged either, as nothing tells it from DC. Where it stands so in the cutouts of a station that
claims them (--cutout) it is taken for off; without the claim that is a fault of the signal.

How well times are known comes from the grid on which all edges of the file lie, the sampling interval g of the analyser:
U = 2·g/√6 between two edges (k = 2; JCGM 100:2008 4.3.7 and 5.1.2), 0.82 µs at 1 MHz. What is inside its limit by less than
that passes conditionally, and is an observation. --uncertainty gives U where you know better.

Each file is judged by itself. Of several, each has its reports in a directory of its own below --out, named after it,
and the exit code is that of the worst.

Exit codes: 0 the signal conforms, with or without observations; 1 it does not; 2 usage, or a file that cannot be read; 3 a
fault of bufferstop; 4 incomplete, there was nothing in the file by which a MUST could be judged; 130 interrupted.`,
		Example: `  bufferstop judge layout.vcd.gz
  bufferstop judge --track programming --uncertainty 100ns read-cv.vcd
  bufferstop judge --station mine.station.toml --out verdict layout.vcd.gz
  sigrok-cli ... -O vcd | bufferstop judge -`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return nil
			}
			return &mistake{What: "no file to judge", Where: cmd.CommandPath(), Got: count(args), Want: "captures of a track",
				Hint: cmd.CommandPath() + " FILE judges a capture, - judges standard input"}
		},
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	choiceFlag(cmd, j.track, "track", "which track was captured: the first bytes 112 to 127 mean service mode on the programming track")
	flags.DurationVar(&j.uncertainty, "uncertainty", 0, "U (k=2) of the `TIME` between two edges, such as 1us (default: from the grid of the file)")
	flags.StringVar(&j.signal, "signal", "", "the `NAME` of the signal to judge, where there are several (default: the one named as the track)")
	flags.BoolVar(&j.cutout, "cutout", false, "the station claims cutouts for bi-directional communication")
	flags.StringVar(&j.station, "station", "", "the station `FILE` whose claims count: cutout and editions")
	flags.StringVar(&j.out, "out", defaultOut, "the `DIRECTORY` for the reports")
	complete(cmd, "uncertainty", nil)
	complete(cmd, "signal", nil)
	if err := errors.Join(cmd.MarkFlagFilename("station", "toml"), cmd.MarkFlagDirname("out")); err != nil { // only when a flag does not exist
		panic(err)
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return j.run(cmd, args) }
	return cmd
}

// run judges one file after the other. One that cannot be read does not keep the others from being judged.
func (j *judgeCommand) run(cmd *cobra.Command, files []string) error {
	if cmd.Flags().Changed("uncertainty") && j.uncertainty <= 0 {
		return &mistake{What: "no uncertainty", Where: "--uncertainty", Got: j.uncertainty.String(), Want: "more than zero, such as 1us",
			Hint: "without the flag it comes from the grid of the file"}
	}
	o := judgement.Options{Track: station.Track(j.track.value), Signal: j.signal, Uncertainty: j.uncertainty, Version: version()}
	if j.station != "" {
		file, err := station.LoadFile(j.station)
		if err == nil {
			err = review.Editions(file)
		}
		if err != nil {
			return fileMistake(err)
		}
		o.Claims = file.Claims
		o.Stated, o.Station = file.Stated.Claims, file.Name
	}
	o.Claims.Cutout = o.Claims.Cutout || j.cutout
	ctx, interrupts := catchInterrupts(cmd.Context(), cmd.ErrOrStderr())
	defer interrupts.release()
	outcome := verdict.Conforms
	var unreadable []error
	directories := directoriesOf(j.out, files)
	for i, file := range files {
		run, err := j.judge(ctx, cmd, file, directories[i], o)
		switch {
		case err != nil:
			unreadable = append(unreadable, err)
		default:
			outcome = verdict.Override(outcome, run.Outcome)
		}
		if ctx.Err() != nil {
			break
		}
	}
	if len(unreadable) > 0 {
		return errors.Join(unreadable...)
	}
	return exit{code: outcome.ExitCode()}
}

// judge judges one file and writes its reports.
func (j *judgeCommand) judge(ctx context.Context, cmd *cobra.Command, file, directory string, o judgement.Options) (*record.Record, error) {
	source, err := openJudged(file, cmd.InOrStdin())
	if err != nil {
		return nil, captureMistake(file, err)
	}
	defer source.Close()
	if err := prepareOut(directory); err != nil {
		return nil, err
	}
	o.Name = file
	run, err := judgement.Judge(ctx, source, o)
	if err != nil {
		_ = os.Remove(directory) // if nothing is in it
		return nil, captureMistake(file, err)
	}
	console := report.Console{Colour: screenFor(cmd).colour, InFile: true}
	out := cmd.OutOrStdout()
	fmt.Fprintf(out, "judging %+q, the %s track: %d checks\n", file, o.Track, len(run.Results))
	for _, r := range run.Results {
		fmt.Fprintln(out, console.Line(r))
	}
	run.Station.File, run.Repeat = j.station, j.repeat(file)
	if err := report.Save(directory, run); err != nil {
		return nil, exit{verdict.ExitFault, err}
	}
	fmt.Fprint(out, console.Summary(run))
	fmt.Fprintf(out, "report: %s\n", filepath.Join(directory, report.HTMLName))
	return run, nil
}

// openJudged opens a file to be judged. Standard input stays open.
func openJudged(file string, stdin io.Reader) (io.ReadCloser, error) {
	if file == "-" {
		return io.NopCloser(stdin), nil
	}
	return os.Open(file)
}

// directoriesOf is where the reports of each file go.
func directoriesOf(out string, files []string) []string {
	if len(files) == 1 {
		return []string{out}
	}
	taken := map[string]bool{}
	var all []string
	for _, file := range files {
		name := strings.TrimSuffix(strings.TrimSuffix(filepath.Base(file), ".gz"), ".vcd")
		if file == "-" || strings.Trim(name, ".") == "" {
			name = "standard-input"
		}
		unique := name
		for n := 2; taken[unique]; n++ {
			unique = fmt.Sprintf("%s-%d", name, n)
		}
		taken[unique] = true
		all = append(all, filepath.Join(out, unique))
	}
	return all
}

// repeat is the command line that judges the file again.
func (j *judgeCommand) repeat(file string) string {
	words := []string{"bufferstop", "judge"}
	add := func(flag, value string) {
		if value != "" {
			words = append(words, flag, shellWord(value))
		}
	}
	if j.track.value != string(station.Main) {
		add("--track", j.track.value)
	}
	if j.uncertainty > 0 {
		add("--uncertainty", j.uncertainty.String())
	}
	add("--signal", j.signal)
	if j.cutout {
		words = append(words, "--cutout")
	}
	add("--station", j.station)
	return strings.Join(append(words, shellWord(file)), " ")
}
