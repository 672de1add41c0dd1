package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"bufferstop/harness/verdict"
	"bufferstop/suites/rigcheck"
)

func newRig() *cobra.Command {
	return group(&cobra.Command{
		Use:     "rig",
		Short:   "Look at a rig before a station is examined on it",
		Example: "  bufferstop rig check --rig bench.rig.toml",
	}, newRigCheck())
}

func newRigCheck() *cobra.Command {
	var r rigFlags
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Try a rig: link, round trip, what it can do",
		Long: `check opens a rig and tries it: who the station is, how long an answer takes (a question that changes nothing, 100 times
or for 20 seconds), how lines end, whether the station echoes or talks by itself, what the rig can do on each track, and
how many requirements that leaves not fitted. It switches nothing on.

Exit codes: 0 the rig is ready, with or without remarks; 2 a file does not fit the station; 3 a fault of the rig; 5 another
run holds it; 130 interrupted.`,
		Example: `  bufferstop rig check
  bufferstop rig check --rig bench.rig.toml
  bufferstop rig check --rig bench.rig.toml --link tcp://192.0.2.7:2217
  bufferstop rig check --rig bench.rig.toml --format json`,
		Args: noArguments,
	}
	cmd.Flags().SortFlags = false
	r.add(cmd)
	format := formatFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		ctx, interrupts := catchInterrupts(cmd.Context(), cmd.ErrOrStderr())
		defer interrupts.release()
		rig, err := r.open(ctx, cmd)
		if err != nil {
			return err
		}
		defer rig.close()
		report, err := rigcheck.Check(ctx, rig.Rig, rig.file, rigcheck.Options{})
		closing := rig.close()
		switch {
		case ctx.Err() != nil:
			return exit{code: verdict.ExitInterrupted}
		case err != nil:
			return exit{verdict.ExitFault, err}
		}
		if format.value == "json" {
			err = writeJSON(cmd.OutOrStdout(), report)
		} else {
			err = printRigReport(cmd.OutOrStdout(), report, screenFor(cmd))
		}
		switch {
		case err != nil:
			return written(err)
		case closing != nil:
			return exit{verdict.ExitFault, fmt.Errorf("closing the rig: %w", closing)}
		}
		return exit{code: rigExitCode(report.Worst())}
	}
	return cmd
}

func rigExitCode(worst rigcheck.Severity) int {
	switch worst {
	case rigcheck.Configuration:
		return verdict.ExitUsage
	case rigcheck.Fault:
		return verdict.ExitFault
	}
	return verdict.ExitConforms
}
