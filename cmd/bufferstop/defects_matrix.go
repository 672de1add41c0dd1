package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"bufferstop/harness/record"
	"bufferstop/harness/report"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"
	"bufferstop/suites/matrix"
)

// A listedMatrix is the matrix as --format json tells it.
type listedMatrix struct {
	Defects []matrix.Row `json:"defects"`
	// Unproven are the requirements that no seeded defect breaks; there are none when only some defects were asked for.
	Unproven []string `json:"unproven"`
	OK       bool     `json:"ok"`
}

// runMatrix examines the simulated station with each of the defects, and prints which requirement caught which.
func runMatrix(cmd *cobra.Command, defects []simulated.Defect, format string) error {
	self, err := os.Executable()
	if err != nil {
		return exit{verdict.ExitFault, fmt.Errorf("finding this program, to run parts of the matrix at the same time: %w", err)}
	}
	var seeded []matrix.Defect
	for _, d := range defects {
		seeded = append(seeded, matrix.Defect{Name: d.Name, Breaks: d.Breaks})
	}
	ctx, release := catchStop(cmd.Context())
	defer release()
	below := screenOf(cmd.ErrOrStderr(), cmd.Flag("color").Value.String())
	done, started := 0, time.Now()
	live := func(text string) {
		if below.live {
			fmt.Fprint(cmd.ErrOrStderr(), report.Erase+text)
		}
	}
	live(fmt.Sprintf("0 of %d defects", len(seeded)))
	rows, err := matrix.Run(ctx, seeded, runtime.NumCPU(), func(ctx context.Context, defect string) (*record.Record, error) {
		return examineElsewhere(ctx, self, defect)
	}, func(row matrix.Row) {
		done++
		live(fmt.Sprintf("%d of %d defects, %s", done, len(seeded), time.Since(started).Round(time.Second)))
	})
	live("")
	if err != nil {
		return exit{verdict.ExitInterrupted, errors.New("interrupted before all defects were tried")}
	}
	m := listedMatrix{Defects: rows, Unproven: []string{}, OK: true}
	if len(defects) == len(simulated.Defects()) {
		m.Unproven = matrix.Unproven(seeded)
	}
	m.OK = len(m.Unproven) == 0
	for _, row := range rows {
		m.OK = m.OK && row.OK()
	}
	if format == "json" {
		err = writeJSON(cmd.OutOrStdout(), m)
	} else {
		_, err = io.WriteString(cmd.OutOrStdout(), printMatrix(m, screenFor(cmd)))
	}
	if err != nil {
		return written(err)
	}
	if !m.OK {
		return exit{code: verdict.ExitDoesNotConform}
	}
	return nil
}

// examineElsewhere examines a defect in a process of its own, since Ginkgo has one tree of specs in each. The process is this
// program, called as it was called.
func examineElsewhere(ctx context.Context, self, defect string) (*record.Record, error) {
	process := exec.CommandContext(ctx, self, "defects", "--"+recordFlag, "--", defect)
	process.Args[0] = os.Args[0]
	var out, errs bytes.Buffer
	process.Stdout, process.Stderr = &out, &errs
	if err := process.Run(); err != nil {
		return nil, fmt.Errorf("%w: %s", err, harmless(strings.TrimSpace(errs.String())))
	}
	return record.Read(&out)
}

// recordFlag is the hidden flag of defects by which the matrix calls this program again.
const recordFlag = "record-of-one"

// recordDefect examines a simulated station with a defect, that of the habit which the defect is of, and writes the record to
// standard output.
func recordDefect(cmd *cobra.Command, defect string) error {
	fault := func(err error) error { return exit{verdict.ExitFault, err} }
	o := simulated.Options{Seed: 1, Defect: defect} // of this seed the defects promise what they break
	file, err := station.LoadFS(rigs.Files, o.StationFile())
	if err != nil {
		return fault(err)
	}
	rig, err := simulated.New(o)
	if err != nil {
		return fault(err)
	}
	defer rig.Close()
	run, err := suites.Run(cmd.Context(), rig, file, suites.Options{Version: version()})
	if err != nil {
		return fault(err)
	}
	run.Defect = defect
	return written(record.Write(cmd.OutOrStdout(), run))
}

func printMatrix(m listedMatrix, s screen) string {
	width, bad := 0, 0
	for _, row := range m.Defects {
		width = max(width, len(row.Defect))
	}
	var b strings.Builder
	indent := width + 2
	for _, row := range m.Defects {
		word := "caught by " + strings.Join(row.Caught, ", ")
		if len(row.Caught) == 0 {
			word = "caught by nothing"
		}
		fmt.Fprintf(&b, "%s  %s\n", s.paint(bold, fmt.Sprintf("%-*s", width, row.Defect)), s.wrap(word, indent))
		line := func(style, what string, ids []string) {
			if len(ids) > 0 {
				fmt.Fprintf(&b, "%*s%s\n", indent, "", s.paint(style, s.wrap(what+" "+strings.Join(ids, ", "), indent)))
			}
		}
		line(dim, "implied", row.Implied)
		line(red, "missed", row.Missed)
		line(red, "not implied", row.Strange)
		if row.Fault != "" {
			line(red, "fault:", []string{harmless(row.Fault)})
		}
		if !row.OK() {
			bad++
		}
	}
	fmt.Fprintf(&b, "\n%s: ", plural(len(m.Defects), "defect"))
	if bad == 0 {
		b.WriteString("each is caught by all that it breaks, and trips nothing else but what that implies\n")
	} else {
		fmt.Fprintf(&b, "%d not caught by all that they break, or tripping what that does not imply\n", bad)
	}
	if len(m.Unproven) > 0 {
		fmt.Fprintf(&b, "%s\n", s.paint(red, "no defect breaks "+strings.Join(m.Unproven, ", ")))
	}
	return b.String()
}
