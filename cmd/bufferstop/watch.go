package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/serving"
)

// A watchCommand is the flags of watch.
type watchCommand struct {
	rigFlags
	power   []string
	ask     []string
	decoder string
	signals []string
	pace    paceFlag
	record  string
	lasting time.Duration
	lines   bool
}

func newWatch() *cobra.Command {
	w := watchCommand{pace: 1}
	cmd := &cobra.Command{
		Use:   "watch [FILE]",
		Short: "Look at the tracks while they run: packets, timing, currents, trips, acknowledges",
		Long: `watch shows what happens on the tracks of a rig, or in a capture FILE (VCD, also .gz; - is standard input), as it happens:
packets with their meaning, those that only repeat what was said before counted beside the first; packets and half-bits in a
second; the half-bits of the last seconds against the limits for a station; the current of both tracks as a strip chart; trips
and acknowledges; whether a track is off, carries a signal, or a voltage that does not change.

On a terminal it fills the screen, and the foot line tells the keys. Elsewhere, and with --lines, it writes a line for each
packet that says something new, each trip and each acknowledge, and a summary at the end.

It switches nothing on unless --power or a key asks for it, and switches the track power off when it ends, however it ends.
A simulated rig keeps step with the wall clock, faster with --pace 10, as fast as it can with --pace max; so does a capture. A
bench goes at its own pace. --record writes what is seen into a VCD file, one wire for each track.

Exit codes: 0 ended by quit, by --for, or with the capture; 2 usage or configuration; 3 a fault of the rig, or the power could
not be switched off; 5 another run holds the rig; 130 interrupted.`,
		Example: `  bufferstop watch --power main
  bufferstop watch --rig bench.rig.toml --record evening.vcd.gz
  bufferstop watch --power programming --ask "read cv 29" --for 3s --pace max --lines
  bufferstop watch layout.vcd.gz
  sigrok-cli ... -O vcd | bufferstop watch -`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) <= 1 {
				return nil
			}
			return oneFile(cmd, args)
		},
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	w.add(cmd)
	flags.StringSliceVar(&w.power, "power", nil, "switch on the power of these `TRACKS`: main, programming or both with a comma")
	flags.StringArrayVar(&w.ask, "ask", nil, "ask the station for this at the beginning, in the words of talk: a `COMMAND`; may be repeated")
	flags.Var(&w.pace, "pace", "real, max, or how many seconds shall pass in one")
	flags.DurationVar(&w.lasting, "for", 0, "end by itself after this `TIME` on the rig's clock, such as 10s")
	flags.StringVar(&w.record, "record", "", "write what is seen to this VCD `FILE`, compressed if it ends in .gz")
	flags.BoolVar(&w.lines, "lines", false, "write lines on a terminal too")
	flags.StringArrayVar(&w.signals, "signal", nil, "the signal of the capture to show, by `NAME`, where there are more than two; may be given twice")
	flags.StringVar(&w.decoder, "decoder", "", "the `NAME` of the decoder on the programming track, or none (default: "+serving.OrdinaryDecoder+"; on a bench none)")
	flags.StringVar(&w.defect, "defect", "", "seed the defect of this `NAME` into the simulated station")
	w.habitFlag(cmd)
	flags.Int64Var(&w.seed, "seed", 1, "the `NUMBER` from which a simulated rig draws all that is random")
	flags.StringVar(&w.build, "build", "", "the firmware image `FILE` to run, in place of the one that the rig file names")
	complete(cmd, "power", []string{string(station.Main), string(station.Programming), "main,programming"})
	complete(cmd, "pace", []string{"real", "max"})
	complete(cmd, "defect", defectNames())
	complete(cmd, "decoder", append(serving.Decoders(), noDecoder))
	for _, name := range []string{"ask", "for", "signal", "seed"} {
		complete(cmd, name, nil)
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return w.run(cmd, args) }
	return cmd
}

// A paceFlag is how many seconds of the rig shall pass in one of the wall clock; zero for as many as can.
type paceFlag float64

func (p *paceFlag) Type() string { return "PACE" }

func (p *paceFlag) String() string {
	switch *p {
	case 0:
		return "max"
	case 1:
		return "real"
	}
	return strconv.FormatFloat(float64(*p), 'g', -1, 64)
}

// The bounds of a pace. Our own choice.
const slowestPace, fastestPace = 0.001, 1000

func (p *paceFlag) Set(text string) error {
	switch text {
	case "max":
		*p = 0
		return nil
	case "real":
		*p = 1
		return nil
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || !(x >= slowestPace && x <= fastestPace) {
		return &mistake{What: "unreadable value", Got: quote(text),
			Want: fmt.Sprintf("real, max, or a number from %v to %v", slowestPace, fastestPace)}
	}
	*p = paceFlag(x)
	return nil
}

// onScreen reports whether standard output is a terminal that can be filled, and there is a keyboard.
func (w *watchCommand) onScreen(cmd *cobra.Command) bool {
	if w.lines || !screenFor(cmd).live {
		return false
	}
	keys, ok := cmd.InOrStdin().(*os.File)
	if ok && term.IsTerminal(int(keys.Fd())) {
		return true
	}
	terminal, err := openKeyboard() // when standard input is the capture
	if err != nil {
		return false
	}
	terminal.Close()
	return true
}

// run checks all that was asked for, opens what is watched, and shows it until somebody has had enough.
func (w *watchCommand) run(cmd *cobra.Command, args []string) (err error) {
	if err := w.check(cmd, args); err != nil {
		return err
	}
	onScreen := w.onScreen(cmd)
	// While the screen is filled, what is said on standard error waits until it is not.
	held := &heldBack{out: cmd.ErrOrStderr()}
	cmd.SetErr(held)
	defer func() { cmd.SetErr(held.out) }()
	defer held.release()
	var ctx context.Context
	if onScreen {
		c, release := catchStop(cmd.Context())
		defer release()
		ctx = c
	} else {
		c, interrupts := catchInterrupts(cmd.Context(), held)
		defer interrupts.release()
		ctx = c
	}
	seen, err := w.open(ctx, cmd, args)
	if err != nil {
		return err
	}
	defer func() { err = worse(err, seen.close(ctx)) }() // also when something panics; a second close does nothing
	if seen.recorder, err = w.openRecord(args, seen.names); err != nil {
		return err
	}
	if onScreen {
		err = w.fillScreen(ctx, cmd, seen, held)
	} else {
		err = w.writeLines(ctx, cmd, seen)
	}
	return err
}

// open opens what is watched.
func (w *watchCommand) open(ctx context.Context, cmd *cobra.Command, args []string) (*watching, error) {
	if len(args) == 1 {
		return w.openCaptures(ctx, args[0], cmd.InOrStdin())
	}
	return w.openRig(ctx, cmd)
}

// worse is the error that decides how the program ends: the first, but a track that may have power before an interrupt.
func worse(first, closing error) error {
	var e exit
	if closing != nil && (first == nil || errors.As(first, &e) && e.err == nil || closedPipe(first)) {
		return closing
	}
	if closing != nil {
		return exit{verdict.ExitFault, errors.Join(first, closing)}
	}
	return first
}

// check refuses what does not go together.
func (w *watchCommand) check(cmd *cobra.Command, args []string) error {
	if cmd.Flags().Changed("for") && w.lasting <= 0 {
		return &mistake{What: "no time to watch", Where: "--for", Got: quote(w.lasting.String()), Want: "more than nothing, such as 10s"}
	}
	if len(args) == 1 {
		for _, name := range []string{"rig", "station", "link", "power", "ask", "decoder", "defect", "seed", "build"} {
			if cmd.Flags().Changed(name) {
				return &mistake{What: "a capture has no station", Where: "--" + name, Got: quote(cmd.Flag(name).Value.String()) + " and a FILE",
					Want: "one of them"}
			}
		}
		if len(w.signals) > 2 {
			return &mistake{What: "too many signals", Where: "--signal", Got: fmt.Sprint(len(w.signals)), Want: "two at most"}
		}
		return nil
	}
	if len(w.signals) > 0 {
		return &mistake{What: "a rig has tracks, no signals", Where: "--signal", Got: quote(w.signals[0]), Want: "a FILE beside it"}
	}
	for _, track := range w.power {
		if err := known("unknown track", "--power", track, []string{string(station.Main), string(station.Programming)}, ""); err != nil {
			return err
		}
	}
	for _, text := range w.ask {
		if _, err := station.ParseCommand(text); err != nil {
			return &mistake{What: "unknown command", Where: "--ask", Got: harmless(err.Error()), Hint: "bufferstop talk, then help, lists them"}
		}
	}
	if err := w.seeds(); err != nil {
		return err
	}
	if w.decoder != "" {
		return known("unknown decoder", "--decoder", w.decoder, append(serving.Decoders(), noDecoder), cmd.CommandPath()+" --help tells more")
	}
	return nil
}

// openRig opens the rig and all of its tracks.
func (w *watchCommand) openRig(ctx context.Context, cmd *cobra.Command) (*watching, error) {
	rig, err := w.rigFlags.open(ctx, cmd)
	if err != nil {
		return nil, err
	}
	fail := func(err error) (*watching, error) { return nil, errors.Join(err, rig.close()) }
	d := rig.Describe()
	for _, track := range w.power {
		if !slices.Contains(rig.file.Claims.Tracks, station.Track(track)) {
			return fail(&mistake{What: "the station has no such track", Where: "--power", Got: quote(track),
				Want: "one that it claims", Hint: "see tracks in [claims] of the station file"})
		}
	}
	decoder := w.decoder
	if d.Kind != benchKind {
		decoder = cmp.Or(decoder, serving.OrdinaryDecoder)
	}
	if decoder != "" && decoder != noDecoder {
		if err := serving.FitDecoder(rig, decoder); err != nil {
			return fail(exit{verdict.ExitFault, err})
		}
	}
	return watchRig(rig, d, w.power, w.ask), nil
}

// benchKind is the kind of rig whose time passes by itself.
const benchKind = "bench"
