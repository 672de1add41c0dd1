package main

import (
	"cmp"
	"context"
	"errors"
	"path/filepath"
	"sync"

	"github.com/spf13/cobra"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/serving"
	"bufferstop/rigs/simulated"
)

// A talkCommand is the flags of talk.
type talkCommand struct{ station, link string }

func newTalk() *cobra.Command {
	var t talkCommand
	cmd := &cobra.Command{
		Use:   "talk",
		Short: "Try a station by hand: commands in plain words, and the bytes that they become",
		Long: `talk is a small terminal for one station. Type commands in plain words, such as read cv 29; help lists them all. It shows
the bytes that go each way with their times in seconds, and what the answer means. raw "TEXT" sends bytes as they are
(quoted as in Go: "\r\n", "\x02"). What the station says by itself is shown when it comes. quit, the end of the input and
Ctrl-C end it, and switch the track power off.

Without --link the address in the station file is used; without --station the reference language is spoken. Without both,
talk speaks with a simulated station of its own, whose time passes only while a command waits for its answer, and which
has a decoder on its programming track.

Exit codes: 0 the talk has ended and the power is off; 2 usage or configuration; 3 the link broke, or the power could not
be switched off; 5 another run holds the station; 130 interrupted.`,
		Example: `  bufferstop talk
  echo read cv 29 | bufferstop talk
  bufferstop talk --station my.station.toml --link 'serial:/dev/ttyACM0?baud=115200'
  bufferstop talk --link tcp://127.0.0.1:4000`,
		Args: noArguments,
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVar(&t.station, "station", "", "the station `FILE` (default: that of the reference language)")
	flags.StringVar(&t.link, "link", "", "the `ADDRESS` of the station, in place of the one in its file")
	complete(cmd, "link", nil)
	if err := cmd.MarkFlagFilename("station", "toml"); err != nil { // only when the flag does not exist
		panic(err)
	}
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return t.run(cmd) }
	return cmd
}

func (t *talkCommand) run(cmd *cobra.Command) error {
	ctx, interrupts := catchInterrupts(cmd.Context(), cmd.ErrOrStderr())
	defer interrupts.release()
	p, err := t.connect(ctx, cmd)
	if err != nil {
		if ctx.Err() != nil {
			return exit{verdict.ExitInterrupted, nil}
		}
		return err
	}
	defer p.close() // also when something panics; a second close does nothing
	err = p.talk(ctx, cmd)
	if closing := p.close(); err == nil && closing != nil {
		err = exit{verdict.ExitFault, closing}
	}
	if err == nil && ctx.Err() != nil {
		return exit{code: verdict.ExitInterrupted}
	}
	return err
}

// A partner is the station that is talked with.
type partner struct {
	file  *station.File
	line  link.Link
	clock link.Clock
	// alive says that its time passes also while nothing is asked of it.
	alive bool
	close func() error // a second call does nothing
}

// connect opens the link to the station, or makes one.
func (t *talkCommand) connect(ctx context.Context, cmd *cobra.Command) (*partner, error) {
	file, err := t.file()
	if err != nil {
		return nil, fileMistake(err)
	}
	if t.link != "" {
		file.Link = t.link
	}
	if t.link == "" && t.station == "" {
		rig, err := simulated.New(simulated.Options{Seed: 1})
		if err == nil {
			err = serving.FitDecoder(rig, serving.OrdinaryDecoder)
		}
		if err != nil {
			return nil, exit{verdict.ExitFault, err}
		}
		return &partner{file: file, line: rig.Link(), clock: rig, close: rig.Close}, nil
	}
	return t.dial(ctx, cmd, file)
}

// file reads the station file.
func (t *talkCommand) file() (*station.File, error) {
	if t.station == "" {
		return station.LoadFS(rigs.Files, "reference.station.toml")
	}
	return station.LoadFile(t.station)
}

// dial reaches a station outside, and keeps others from it meanwhile.
func (t *talkCommand) dial(ctx context.Context, cmd *cobra.Command, file *station.File) (*partner, error) {
	where := cmp.Or(whenSet(t.link, "--link"), t.station)
	if file.Link == "" && file.Adapter == nil {
		return nil, &mistake{What: "no link to the station", Where: where, Got: "neither link in the file nor --link",
			Want: "an address, such as serial:/dev/ttyACM0?baud=115200", Hint: "bufferstop ports lists what is connected"}
	}
	var address link.Address
	identity := ""
	if file.Link != "" {
		var err error
		if address, err = parseLink(file.Link, where); err != nil {
			return nil, err
		}
		if file.Adapter != nil { // which runs in a folder of its own
			here, err := filepath.Abs(".")
			if err != nil {
				return nil, exit{verdict.ExitFault, err}
			}
			address = address.In(here)
			file.Link = address.String()
		}
		identity = address.Identity()
	} else {
		identity = adapterIdentity(file.Adapter)
	}
	held, err := claimRig(ctx, cmd, identity)
	if err != nil {
		return nil, err
	}
	p := &partner{file: file, clock: link.NewWallClock(), alive: true}
	if file.Adapter != nil {
		p.line, err = file.OpenAdapter(ctx, &said{out: cmd.ErrOrStderr(), before: ofAdapter})
	} else {
		p.line, err = address.Open(ctx)
	}
	if err != nil {
		return nil, exit{verdict.ExitFault, errors.Join(err, held.Release())}
	}
	p.close = sync.OnceValue(func() error { return errors.Join(p.line.Close(), held.Release()) })
	return p, nil
}
