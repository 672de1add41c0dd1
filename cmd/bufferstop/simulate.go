package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/serving"
	"bufferstop/rigs/simulated"
)

// A simulateCommand is the flags of simulate.
type simulateCommand struct {
	station, defect, decoder string
	pty, tcp                 string
	seed                     int64
}

func newSimulate() *cobra.Command {
	var s simulateCommand
	cmd := &cobra.Command{
		Use:   "simulate",
		Short: "Serve the simulated station to other programs, in real time",
		Long: `simulate runs the simulated station in real time, with a decoder on its programming track, and serves it to whatever
speaks its language: at a pseudo-terminal, which other programs open as a serial port, or at a TCP port. The first line
says the address, to be pasted behind --link. Clients come and go, one at a time, and the station goes on meanwhile. A
baud rate means nothing to a pseudo-terminal, and need not be right.

Without --station it speaks the reference language, else that of the station file's dialect, whose answers need say = "..."
for that. Without --pty and --tcp it makes a pseudo-terminal. Ctrl-C ends it.

Exit codes: 0 ended by Ctrl-C or SIGTERM; 2 usage or configuration; 3 a fault of the harness.`,
		Example: `  bufferstop simulate --pty /tmp/station
  bufferstop simulate --tcp 127.0.0.1:4000 --defect slow-crystal
  bufferstop simulate --station my.station.toml --decoder weak-pulse
  bufferstop talk --link serial:/tmp/station`,
		Args: noArguments,
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVar(&s.station, "station", "", "the station `FILE` whose dialect is spoken (default: the reference language)")
	flags.StringVar(&s.defect, "defect", "", "seed the defect of this `NAME` into the station")
	flags.Int64Var(&s.seed, "seed", 1, "the `NUMBER` from which all is drawn that is random")
	flags.StringVar(&s.decoder, "decoder", serving.OrdinaryDecoder, "the `NAME` of the decoder on the programming track, or none")
	flags.StringVar(&s.pty, "pty", "", "the `PATH` of a symbolic link to make to the pseudo-terminal")
	flags.StringVar(&s.tcp, "tcp", "", "the `ADDRESS`, host:port, to listen at; port 0 takes a free one")
	complete(cmd, "defect", defectNames())
	complete(cmd, "decoder", append(serving.Decoders(), noDecoder))
	complete(cmd, "seed", nil)
	complete(cmd, "tcp", nil)
	if err := cmd.MarkFlagFilename("station", "toml"); err != nil { // only when the flag does not exist
		panic(err)
	}
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return s.run(cmd) }
	return cmd
}

// noDecoder is the name by which the programming track stays empty.
const noDecoder = "none"

func (s *simulateCommand) run(cmd *cobra.Command) error {
	if s.pty != "" && s.tcp != "" {
		return &mistake{What: "two places to serve at", Where: "--pty and --tcp", Got: "both", Want: "one of them"}
	}
	if s.defect != "" {
		if err := known("unknown defect", "--defect", s.defect, defectNames(), "bufferstop defects lists them"); err != nil {
			return err
		}
	}
	if err := known("unknown decoder", "--decoder", s.decoder, append(serving.Decoders(), noDecoder), cmd.CommandPath()+" --help tells more"); err != nil {
		return err
	}
	file, err := s.file()
	if err != nil {
		return fileMistake(err)
	}
	rig, err := s.build(file)
	if err != nil {
		return fileMistake(err)
	}
	defer rig.Close()
	ctx, release := catchStop(cmd.Context())
	defer release()
	return s.serve(ctx, cmd.OutOrStdout(), file, rig)
}

func (s *simulateCommand) file() (*station.File, error) {
	if s.station == "" {
		return station.LoadFS(rigs.Files, "reference.station.toml")
	}
	return station.LoadFile(s.station)
}

func (s *simulateCommand) build(file *station.File) (*simulated.Rig, error) {
	if file.Dialect == nil {
		return nil, &mistake{What: "no dialect to speak", Where: s.station, Got: "an adapter", Want: "a dialect",
			Hint: "the simulated station speaks dialects, and an adapter is no file of rules"}
	}
	decoder := s.decoder
	if decoder == noDecoder {
		decoder = ""
	}
	return serving.NewRig(simulated.Options{Name: "simulated station", Seed: s.seed, Defect: s.defect, Dialect: file.Dialect}, decoder)
}

// serve offers the station until ctx ends.
func (s *simulateCommand) serve(ctx context.Context, out io.Writer, file *station.File, rig *simulated.Rig) error {
	port, err := s.open(out)
	if err != nil {
		return &mistake{What: "cannot serve the station", Where: whereServed(s), Got: err.Error(), Want: "a place of its own"}
	}
	fmt.Fprintf(out, "%s\n", port.Address())
	fmt.Fprintf(out, "serving %+q, which speaks %+q; Ctrl-C ends\n", file.Name, file.Dialect.Name())
	err = simulated.Serve(ctx, rig, port)
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
