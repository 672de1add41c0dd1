package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"bufferstop/harness/record"
	"bufferstop/harness/report"
	"bufferstop/harness/verdict"
	"bufferstop/suites"
)

func newMerge() *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "merge DIRECTORY...",
		Short: "Make one report of the parts of a run",
		Long: `merge reads the records that the parts of one run have left, all of them in any order, and writes record.json,
report.html, junit.xml and summary.md as one run of the whole does, with the recordings of failures and the log of the link
of each part. Its exit code is that of the whole: 0 conforms, 1 does not, 3 fault of the rig or of bufferstop, 4 incomplete,
130 interrupted; a part that was interrupted or ended early makes the whole so. Exit code 2 says that the records are not
the parts of one run: made by another version, for another build, station, rig, seed or selection, or not all there.

The rig time is that of all parts together, the wall time that of the longest. Each part has a clock of its own: "parts" in
record.json tells which requirements were checked in which.`,
		Example: `  bufferstop run --shard 1/2 --out part1 & bufferstop run --shard 2/2 --out part2; wait
  bufferstop merge part1 part2 --out whole`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return nil
			}
			return &mistake{What: "no directory to merge", Where: cmd.CommandPath(), Got: count(args), Want: "that of each part",
				Hint: "name the directories that run --shard I/N --out DIRECTORY has written"}
		},
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
	}
	cmd.Flags().StringVar(&out, "out", defaultOut, "the `DIRECTORY` for the reports")
	if err := cmd.MarkFlagDirname("out"); err != nil { // only when the flag does not exist
		panic(err)
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return merge(cmd, args, out) }
	return cmd
}

// merge reads and checks all parts before anything is written.
func merge(cmd *cobra.Command, directories []string, out string) error {
	var parts []suites.Part
	var unreadable []error
	for _, directory := range directories {
		run, err := record.Load(directory)
		if err != nil {
			unreadable = append(unreadable, recordMistake(directory, err))
			continue
		}
		parts = append(parts, suites.Part{Directory: directory, Record: run})
	}
	if len(unreadable) > 0 {
		return errors.Join(unreadable...)
	}
	if err := apart(out, directories); err != nil {
		return err
	}
	merged, err := suites.Merge(parts, version())
	if err == nil {
		err = merged.Check()
	}
	if err != nil {
		return mergeMistake(err)
	}
	if err := prepareOut(out); err != nil {
		return err
	}
	if err := merged.Keep(out); err != nil {
		return exit{verdict.ExitFault, err}
	}
	if err := report.Save(out, merged.Record); err != nil {
		return exit{verdict.ExitFault, err}
	}
	newProgress(cmd, nil, 0).end(merged.Record, out)
	return exit{code: merged.Record.ExitCode}
}

// apart refuses to write the result over one of the parts.
func apart(out string, directories []string) error {
	place, err := os.Stat(out)
	if err != nil {
		return nil // not there yet, or prepareOut says what is wrong with it
	}
	for _, directory := range directories {
		if info, err := os.Stat(directory); err == nil && os.SameFile(place, info) {
			return &mistake{What: "the result would take the place of a part", Where: "--out", Got: quote(out),
				Want: "a directory of its own", Hint: "choose another with --out DIR"}
		}
	}
	return nil
}

// recordMistake words why the record in a directory cannot be read.
func recordMistake(directory string, err error) error {
	m := &mistake{What: "unreadable record", Where: filepath.Join(directory, record.FileName), Got: harmless(reason(err)),
		Want: "the record of a run", Hint: "name the directories that run --shard I/N --out DIRECTORY has written"}
	var unreadable *fs.PathError
	if !errors.As(err, &unreadable) {
		m.What, m.Got = "damaged record", strings.TrimPrefix(strings.TrimPrefix(m.Got, "record: "), "read: ")
		m.Hint = "run the part again, and leave the file as it is"
	}
	return m
}

// mergeMistake words why records do not make one.
func mergeMistake(err error) error {
	var e *suites.MergeError
	if !errors.As(err, &e) {
		return exit{verdict.ExitFault, err}
	}
	return &mistake{What: e.What, Where: e.File, Got: e.Got, Want: e.Want, Hint: e.Hint}
}
