package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"bufferstop/harness"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/lock"
	"bufferstop/rigs/serving"
	"bufferstop/rigs/wire"
)

// A simulateCommand is the flags of simulate.
type simulateCommand struct {
	rigFlags
	decoder  string
	pty, tcp string
	realTime bool
	bench    benchCommand
}

// A servedRig is a rig in virtual time whose station can be served.
type servedRig interface {
	harness.Rig
	wire.Rig
}

func newSimulate() *cobra.Command {
	var s simulateCommand
	cmd := &cobra.Command{
		Use:   "simulate",
		Short: "Serve a simulated station to other programs, in real time",
		Long: `simulate runs a simulated station in real time, with a decoder on its programming track, and serves it to whatever
speaks its language: at a pseudo-terminal, which other programs open as a serial port, or at a TCP port. The first line
says the address, to be pasted behind --link. Clients come and go, one at a time, and the station goes on meanwhile. A
baud rate means nothing to a pseudo-terminal, and need not be right.

Without --rig it is the station that comes with this program. Without --station that one speaks the reference language, else
that of the station file's dialect, whose answers need say = "..." for that. With a rig file of the kind "firmware" it is
the builder's own firmware on a simulated processor, at the speed of the real one. Without --pty and --tcp it makes a
pseudo-terminal. Ctrl-C ends it.

With --bench it is a whole bench in a box: the firmware of a station (--rig, of the kind "firmware") and that of a capture
probe (--probe), each on a simulated processor, with the rails between them, and the serial port of each at a
pseudo-terminal in the folder. A rig of the kind "bench" with those two links (rigs/box.rig.toml is one) then finds everything
that is on a real bench. Times, shorts and power are printed as they happen.

Exit codes: 0 ended by Ctrl-C or SIGTERM; 2 usage or configuration; 3 a fault of the harness; 5 another program serves at
the path of --pty, or in the folder of --bench.`,
		Example: `  bufferstop simulate --pty /tmp/station
  bufferstop simulate --tcp 127.0.0.1:4000 --defect slow-crystal
  bufferstop simulate --station my.station.toml --decoder weak-pulse
  bufferstop simulate --rig firmware.toml --real-time
  bufferstop simulate --bench /tmp/bench --rig my.rig.toml --probe probe.elf
  bufferstop talk --link serial:/tmp/station`,
		Args: noArguments,
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVar(&s.rig, "rig", "", "the rig `FILE`, of the kind \"simulated\" or \"firmware\" (default: the simulated rig)")
	flags.StringVar(&s.station, "station", "", "the station `FILE` whose dialect is spoken (default: the one that the rig file names)")
	flags.StringVar(&s.build, "build", "", "the firmware image `FILE` to run, in place of the one that the rig file names")
	flags.StringVar(&s.defect, "defect", "", "seed the defect of this `NAME` into the station")
	s.habitFlag(cmd)
	flags.Int64Var(&s.seed, "seed", 1, "the `NUMBER` from which all is drawn that is random")
	flags.StringVar(&s.decoder, "decoder", serving.OrdinaryDecoder, "the `NAME` of the decoder on the programming track, or none")
	flags.StringVar(&s.pty, "pty", "", "the `PATH` of a symbolic link to make to the pseudo-terminal")
	flags.StringVar(&s.tcp, "tcp", "", "the `ADDRESS`, host:port, to listen at; port 0 takes a free one")
	flags.BoolVar(&s.realTime, "real-time", true, "keep step with the wall clock; with =false go as fast as the machine can")
	s.bench.flags(cmd)
	complete(cmd, "defect", defectNames())
	complete(cmd, "decoder", append(serving.Decoders(), noDecoder))
	complete(cmd, "seed", nil)
	complete(cmd, "tcp", nil)
	if err := errors.Join(cmd.MarkFlagFilename("rig", "toml"), cmd.MarkFlagFilename("station", "toml")); err != nil {
		panic(err) // only when a flag does not exist
	}
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return s.run(cmd) }
	return cmd
}

// noDecoder is the name by which the programming track stays empty.
const noDecoder = "none"

func (s *simulateCommand) run(cmd *cobra.Command) (err error) {
	if err := s.checkBench(cmd); err != nil {
		return err
	}
	if s.bench.folder != "" {
		return s.runBench(cmd)
	}
	if s.pty != "" && s.tcp != "" {
		return &mistake{What: "two places to serve at", Where: "--pty and --tcp", Got: "both", Want: "one of them"}
	}
	if err := s.seeds(); err != nil {
		return err
	}
	if err := known("unknown decoder", "--decoder", s.decoder, append(serving.Decoders(), noDecoder), cmd.CommandPath()+" --help tells more"); err != nil {
		return err
	}
	ctx, release := catchStop(cmd.Context())
	defer release()
	rig, file, err := s.openServed(ctx)
	if err != nil {
		return fileMistake(err)
	}
	defer rig.Close()
	held, err := s.claim(ctx, cmd)
	if err != nil {
		return err
	}
	if held != nil {
		defer func() {
			if giving := held.Release(); err == nil && giving != nil {
				err = exit{verdict.ExitFault, giving}
			}
		}()
	}
	return s.serve(ctx, cmd.OutOrStdout(), file, rig)
}

// openServed builds the rig that is served, with a decoder on its programming track.
func (s *simulateCommand) openServed(ctx context.Context) (servedRig, *station.File, error) {
	name, data, err := s.readRig()
	if err != nil {
		return nil, nil, err
	}
	kind, err := kindOf(name, data)
	if err != nil {
		return nil, nil, err
	}
	built, file, err := kind.open(ctx, &s.rigFlags, data, func(...string) error {
		return &mistake{What: "a rig that is real needs nobody to simulate it", Where: name, Got: "kind = " + quote(kind.name),
			Want: `kind = "simulated" or "firmware"`}
	})
	if err != nil {
		return nil, nil, err
	}
	rig, ok := built.(servedRig)
	if !ok {
		return nil, nil, errors.Join(&mistake{What: "this kind of rig cannot be served", Where: name, Got: quote(kind.name),
			Want: `"simulated" or "firmware"`}, built.Close())
	}
	if s.decoder != noDecoder {
		if err := serving.FitDecoder(rig, s.decoder); err != nil {
			return nil, nil, errors.Join(err, rig.Close())
		}
	}
	return rig, file, nil
}

// claim takes the path at which the station is served, as a bench does, so that what a killed process has left there can be
// told from what is in use. It is nil where there is no path.
func (s *simulateCommand) claim(ctx context.Context, cmd *cobra.Command) (*lock.Lock, error) {
	if s.pty == "" {
		return nil, nil
	}
	if err := servable(s.pty, "--pty"); err != nil {
		return nil, err
	}
	identity, err := servedAt(s.pty)
	if err != nil {
		return nil, exit{verdict.ExitFault, err}
	}
	return claimRig(ctx, cmd, identity)
}

// serve offers the station until ctx ends.
func (s *simulateCommand) serve(ctx context.Context, out io.Writer, file *station.File, rig servedRig) error {
	port, err := s.open(out)
	if err != nil {
		return &mistake{What: "cannot serve the station", Where: whereServed(s), Got: err.Error(), Want: "a place of its own"}
	}
	fmt.Fprintf(out, "%s\n", port.Address())
	speaks := "its own language" // that of a firmware which is talked to through an adapter
	if file.Dialect != nil {
		speaks = fmt.Sprintf("%+q", file.Dialect.Name())
	}
	fmt.Fprintf(out, "serving %+q, which speaks %s; Ctrl-C ends\n", file.Name, speaks)
	err = wire.Serve(ctx, rig, port, s.realTime)
	if closing := port.Close(); err == nil {
		err = closing
	}
	if err != nil {
		return exit{verdict.ExitFault, err}
	}
	fmt.Fprintln(out, "ended")
	return nil
}

func whereServed(s *simulateCommand) string {
	if s.tcp != "" {
		return "--tcp"
	}
	return "--pty"
}

func (s *simulateCommand) open(out io.Writer) (serving.Port, error) {
	tell := func(n serving.Notice) {
		who := "a client"
		if n.Client != "" {
			who += " at " + n.Client
		}
		fmt.Fprintf(out, "%s %s\n", who, n.Event)
	}
	if s.tcp != "" {
		return serving.TCP(s.tcp, tell)
	}
	return serving.PTY(s.pty, tell)
}
