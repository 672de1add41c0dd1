package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"bufferstop/harness/verdict"
	"bufferstop/rigs/box"
	"bufferstop/rigs/firmware"
	"bufferstop/rigs/processor"
	"bufferstop/rigs/serving"
)

// What a bench in a box is made of where nothing is named: the firmware in the source tree, as its Makefiles build it.
const (
	referenceFirmware = "rigs/firmware/reference.rig.toml"
	probeFirmware     = "rigs/bench/probe/build/probe-%s.elf"
)

// A benchCommand is the flags of simulate that a bench in a box has.
type benchCommand struct {
	folder string // where its serial ports are; empty for no bench
	probe  string // the image
	mcu    string
	ppm    float64
}

func (b *benchCommand) flags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&b.folder, "bench", "", "the `FOLDER` in which to serve a bench in a box, as station.tty and probe.tty")
	flags.StringVar(&b.probe, "probe", "", "with --bench: the image `FILE` of the probe's firmware")
	flags.StringVar(&b.mcu, "probe-mcu", box.Boards()[0], "with --bench: the `NAME` of the probe's processor")
	flags.Float64Var(&b.ppm, "probe-ppm", 0, "with --bench: by how many millionths the probe's crystal is fast, as a `NUMBER`")
	complete(cmd, "probe-mcu", box.Boards())
	complete(cmd, "probe-ppm", nil)
	if err := errors.Join(cmd.MarkFlagDirname("bench"), cmd.MarkFlagFilename("probe", "elf", "hex")); err != nil {
		panic(err) // only when a flag does not exist
	}
}

// check says which flags do not go together.
func (s *simulateCommand) checkBench(cmd *cobra.Command) error {
	for _, name := range []string{"probe", "probe-mcu", "probe-ppm"} {
		if s.bench.folder == "" && cmd.Flags().Changed(name) {
			return &mistake{What: "no bench that has a probe", Where: "--" + name, Got: "no --bench", Want: "--bench FOLDER beside it"}
		}
	}
	for _, name := range []string{"pty", "tcp", "station", "defect", "habit", "decoder", "seed", "real-time"} {
		if s.bench.folder != "" && cmd.Flags().Changed(name) {
			return &mistake{What: "a bench in a box is two firmwares and no more", Where: "--" + name, Got: "--bench beside it", Want: "one of the two",
				Hint: "the decoders are fitted by the run, and a defect is in an image: name one with --build"}
		}
	}
	if s.bench.ppm < -1000 || s.bench.ppm > 1000 {
		return &mistake{What: "no crystal", Where: "--probe-ppm", Got: fmt.Sprint(s.bench.ppm), Want: "-1000 to 1000"}
	}
	return known("unknown processor", "--probe-mcu", s.bench.mcu, box.Boards(), "the boards of rigs/bench/README.md have these")
}

// runBench serves a bench in a box.
func (s *simulateCommand) runBench(cmd *cobra.Command) (err error) {
	options, err := s.boxed()
	if err != nil {
		return fileMistake(err)
	}
	ctx, release := catchStop(cmd.Context())
	defer release()
	if err := os.MkdirAll(s.bench.folder, 0o755); err != nil {
		return &mistake{What: "no folder for the bench", Where: "--bench", Got: err.Error(), Want: "a folder"}
	}
	paths := [2]string{filepath.Join(s.bench.folder, "station.tty"), filepath.Join(s.bench.folder, "probe.tty")}
	var identities []string
	for _, path := range paths {
		if err := servable(path, "--bench"); err != nil {
			return err
		}
		identity, err := servedAt(path)
		if err != nil {
			return exit{verdict.ExitFault, err}
		}
		identities = append(identities, identity)
	}
	held, err := claimRig(ctx, cmd, identities...)
	if err != nil {
		return err
	}
	defer func() {
		if giving := held.Release(); err == nil && giving != nil {
			err = exit{verdict.ExitFault, giving}
		}
	}()
	console := &boxConsole{out: cmd.OutOrStdout(), begun: time.Now()}
	options.Tell = console.tell
	bench, err := box.Open(*options)
	if err != nil {
		return firmwareMistake(s.rig, s.image, err)
	}
	defer bench.Close()
	return s.serveBench(ctx, console, bench, paths)
}

// boxed is what is in the box.
func (s *simulateCommand) boxed() (*box.Options, error) {
	s.rig = cmp.Or(s.rig, referenceFirmware)
	s.bench.probe = cmp.Or(s.bench.probe, fmt.Sprintf(probeFirmware, s.bench.mcu))
	name, data, err := s.readRig()
	if err != nil {
		return nil, err
	}
	kind, err := kindOf(name, data)
	if err != nil {
		return nil, err
	}
	if kind.name != "firmware" {
		return nil, &mistake{What: "no firmware for a bench in a box", Where: name, Got: "kind = " + quote(kind.name), Want: `kind = "firmware"`}
	}
	file, err := firmware.Parse(name, data)
	if err != nil {
		return nil, err
	}
	if processor.Simulator == "" {
		return nil, firmwareMistake("--bench", "", &firmware.Missing{})
	}
	s.image = cmp.Or(s.build, file.ImagePath())
	station, err := processor.LoadImage(s.image)
	if err != nil {
		return nil, firmwareMistake(name, s.image, err)
	}
	probe, err := processor.LoadImage(s.bench.probe)
	if err != nil {
		return nil, firmwareMistake("--probe", s.bench.probe, err)
	}
	board, err := box.BoardOf(s.bench.mcu)
	if err != nil {
		return nil, err
	}
	return &box.Options{Station: file, StationImage: station, Board: board, ProbeImage: probe, PPM: s.bench.ppm}, nil
}

// serveBench offers both serial ports until ctx ends.
func (s *simulateCommand) serveBench(ctx context.Context, console *boxConsole, bench *box.Box, paths [2]string) error {
	var ports [2]serving.Port
	for i, whose := range []string{"station", "probe"} {
		port, err := serving.PTY(paths[i], func(n serving.Notice) { console.client(whose, n) })
		if err != nil {
			if i > 0 {
				err = errors.Join(err, ports[0].Close())
			}
			return &mistake{What: "cannot serve the bench", Where: "--bench", Got: err.Error(), Want: "a place of its own"}
		}
		ports[i] = port
	}
	console.print("station %s\nprobe   %s?baud=%d\n", ports[0].Address(), ports[1].Address(), 2_000_000)
	console.print("a bench in a box; Ctrl-C ends\n")
	err := bench.Serve(ctx, ports[0], ports[1])
	if err = errors.Join(err, ports[0].Close(), ports[1].Close()); err != nil {
		return exit{verdict.ExitFault, err}
	}
	console.print("ended\n")
	return nil
}

// A boxConsole prints what happens, of the box and of its clients, which are heard of in other goroutines.
type boxConsole struct {
	mu    sync.Mutex
	out   io.Writer
	begun time.Time
}

func (c *boxConsole) print(format string, values ...any) {
	c.mu.Lock()
	defer c.mu.Unlock()
	fmt.Fprintf(c.out, format, values...)
}

func (c *boxConsole) tell(e box.Event) {
	c.print("%10.4f s  %s\n", e.At.Seconds(), harmless(e.String()))
}

func (c *boxConsole) client(whose string, n serving.Notice) {
	c.print("%10.4f s  %s: a client %s\n", time.Since(c.begun).Seconds(), whose, n.Event)
}
