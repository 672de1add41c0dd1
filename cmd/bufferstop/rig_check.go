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
	var probe calibrationFlags
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Try a rig: link, round trip, what it can do",
		Long: `check opens a rig and tries it: who the station is, how long an answer takes (a question that changes nothing, 100 times
or for 20 seconds), how lines end, whether the station echoes or talks by itself, what the rig can do on each track, and
how many requirements that leaves not fitted. Of a rig with a probe it tells how well that measures, and the state of its
calibration. It switches nothing on.

--loop measures as well how long it takes from the last edge of a packet to the load current that a fake decoder asks for, and
whether that is in time for an acknowledge (S-9.2.3). For that it switches the tracks on, and lays short pulses of load.

--calibrate walks you through a calibration of the probe instead: its clock against this computer's, zero and gain of the current
with a resistor whose ohms you know, the load, how well edges repeat, and the loop time. It says what to connect, and asks before
anything is switched on. Each step can be skipped or cancelled by that word, and nothing stays on. What was found is kept in a file
beside the rig's, and goes into every report. For a walk that nobody types at, name a file with --answers:

  supervised = true        # somebody stays beside the bench
  [time]
  over = "1m"
  host_ppm = 100           # how far off this computer's clock may be
  [main]                   # [programming] as well
  zero = "go"
  ohms = 47.0
  tolerance = 1            # percent
  accuracy = 1.5           # of the meter, percent
  resistor = "go"
  reading = "15.2 V"
  load = "go"
  edges = "go"
  steady = false           # the signal is steadier than the probe
  loop = "go"

What is left out that would switch something on is skipped.

Exit codes: 0 the rig is ready, with or without remarks, or calibrated; 2 a file or an answer does not fit; 3 a fault of the rig;
5 another run holds it; 130 interrupted or cancelled.`,
		Example: `  bufferstop rig check
  bufferstop rig check --rig bench.rig.toml
  bufferstop rig check --rig bench.rig.toml --link tcp://192.0.2.7:2217
  bufferstop rig check --rig bench.rig.toml --format json
  bufferstop rig check --rig bench.rig.toml --loop
  bufferstop rig check --rig bench.rig.toml --calibrate`,
		Args: noArguments,
	}
	cmd.Flags().SortFlags = false
	r.add(cmd)
	probe.add(cmd)
	format := formatFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		answers, err := probe.check(format.value)
		if err != nil {
			return err
		}
		r.review = !probe.calibrate // which is about the probe alone
		ctx, interrupts := catchInterrupts(cmd.Context(), cmd.ErrOrStderr())
		defer interrupts.release()
		rig, err := r.open(ctx, cmd)
		if err != nil {
			return err
		}
		defer rig.close()
		if probe.calibrate {
			err := calibrate(ctx, cmd, rig, answers)
			if closing := rig.close(); err == nil && closing != nil {
				err = exit{verdict.ExitFault, fmt.Errorf("closing the rig: %w", closing)}
			}
			return err
		}
		report, err := rigcheck.Check(ctx, rig.Rig, rig.file, rigcheck.Options{Loop: probe.loop})
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
