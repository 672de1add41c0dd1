package main

import (
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/report"
)

// A progress shows a run while it goes on: a line on standard output for each check that has ended, and below it, where
// standard error is a terminal, a line that is written over and tells what goes on now.
type progress struct {
	console report.Console
	out     io.Writer
	err     io.Writer
	below   screen // of err
	rig     harness.Rig
	done    int
	total   int
	shown   bool // the live line stands there
}

func newProgress(cmd *cobra.Command, rig harness.Rig, checks int) *progress {
	return &progress{
		console: report.Console{Colour: screenFor(cmd).colour},
		out:     cmd.OutOrStdout(),
		err:     cmd.ErrOrStderr(),
		below:   screenOf(cmd.ErrOrStderr(), cmd.Flag("color").Value.String()),
		rig:     rig,
		total:   checks,
	}
}

// begin says what is about to be examined. The name comes from a file, so it is quoted.
func (p *progress) begin(station string) {
	d := p.rig.Describe()
	seed := ""
	if d.Seed != 0 {
		seed = fmt.Sprintf(", seed %d", d.Seed)
	}
	fmt.Fprintf(p.out, "examining %q on %q (%s%s): %d checks\n", station, d.Name, d.Kind, seed, p.total)
}

func (p *progress) start(id, track string) {
	if !p.below.live {
		return
	}
	p.erase()
	live := report.Console{Colour: p.below.colour}
	// The last column stays free: a terminal may go to the next line when it is written.
	fmt.Fprint(p.err, live.Progress(p.done, p.total, id+" "+track, p.rig.Now(), p.below.width-1))
	p.shown = true
}

func (p *progress) result(r record.Result) {
	p.done++
	p.erase()
	fmt.Fprintln(p.out, p.console.Line(r))
}

func (p *progress) erase() {
	if p.shown {
		fmt.Fprint(p.err, report.Erase)
		p.shown = false
	}
}

func (p *progress) end(run *record.Record, dir string) {
	fmt.Fprint(p.out, p.console.Summary(run))
	fmt.Fprintf(p.out, "report: %s\n", filepath.Join(dir, report.HTMLName))
}
