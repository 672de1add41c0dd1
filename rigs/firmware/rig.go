//go:build simavr

package firmware

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/rigs/processor"
	"bufferstop/rigs/rails"
	"bufferstop/rigs/wire"
)

// errClosed is what every call on a closed rig returns.
var errClosed = errors.New("firmware rig: closed")

// Rig runs an image on a simulated microcontroller. It implements harness.Rig and is used by one goroutine at a time.
type Rig struct {
	file    *File
	options Options
	image   *processor.Image

	board  *Board        // nil while there is no supply
	kept   []byte        // what was in the EEPROM when the supply went, where it is kept
	base   time.Duration // when the present board's cycle 0 was
	now    time.Duration
	output []rails.Output
	line   wire.Line
	fault  string // how the firmware ended; empty while it runs
	closed bool

	edges []Edge
	sent  []processor.Sent
}

var _ harness.Rig = (*Rig)(nil)

// Open builds the rig, gives the processor its supply and waits for the start time of the rig file.
func Open(ctx context.Context, f *File, image *processor.Image, o Options) (harness.Rig, error) {
	r, err := open(ctx, f, image, o)
	if err != nil {
		return nil, err
	}
	return r, nil
}

func open(ctx context.Context, f *File, image *processor.Image, o Options) (*Rig, error) {
	r := &Rig{file: f, options: o, image: image}
	for i, output := range f.Outputs {
		// One generator for each thing that draws.
		random := rand.New(rand.NewPCG(uint64(o.Seed), uint64(i)))
		r.output = append(r.output, rails.New(output.Track, f.Circuit, f.Probe, random))
	}
	character := 10 * time.Second / time.Duration(f.Baud) // eight data bits, no parity, one stop bit
	r.line = wire.Line{World: r, ToStation: wire.Queue{Character: character}, ToHost: wire.Queue{Character: character}}
	if err := r.supply(); err != nil {
		return nil, err
	}
	if err := r.Wait(ctx, f.StartTime); err != nil {
		return nil, errors.Join(err, r.Close())
	}
	return r, nil
}

// supply gives a new processor its supply now.
func (r *Rig) supply() error {
	b, err := NewBoard(r.file, r.image, r.kept)
	if err != nil {
		return fmt.Errorf("firmware rig: %w", err)
	}
	r.board, r.base, r.fault = b, r.now, ""
	r.follow()
	return nil
}

// Describe says what the rig is and what it can do.
func (r *Rig) Describe() harness.Description {
	d := harness.Description{
		Name: r.file.Name, Kind: "firmware", Seed: r.options.Seed,
		Tracks:             map[station.Track][]harness.Ability{},
		EdgeUncertainty:    r.file.Probe.EdgeUncertainty(),
		SampleInterval:     r.file.Probe.SampleInterval,
		CurrentUncertainty: r.file.Probe.CurrentUncertainty(),
		Budgets:            r.file.Probe.Budgets(),
	}
	for _, o := range r.file.Outputs {
		d.Tracks[o.Track] = []harness.Ability{
			harness.SeeEdges, harness.SeeCurrent, harness.LayShort, harness.LayLoad, harness.LayInrush,
			harness.FitDecoder, harness.CutSupply, harness.ReopenLink, harness.SeeVolts,
		}
	}
	return d
}

// Now is the virtual time since the rig was built.
func (r *Rig) Now() time.Duration { return r.now }

// Wait lets d of virtual time pass.
func (r *Rig) Wait(ctx context.Context, d time.Duration) error {
	return r.Advance(ctx, r.now+max(d, 0), false)
}

// Link is the serial line to the processor.
func (r *Rig) Link() link.Link { return &r.line }

// Line is the serial line to the processor, for those who serve the station to others.
func (r *Rig) Line() *wire.Line { return &r.line }

// Track returns one of the outputs.
func (r *Rig) Track(name station.Track) harness.Track {
	for i := range r.output {
		if r.output[i].Name() == name {
			return r.output[i].Track(r)
		}
	}
	return nil
}

// supplyOff is how long Restart leaves the board without supply: our own choice.
const supplyOff = 500 * time.Millisecond

// Restart takes the supply away for half a second and waits for the start time of the rig file. Characters that were on
// the line are lost.
func (r *Rig) Restart(ctx context.Context) error {
	if r.closed {
		return errClosed
	}
	if r.board != nil { // there is none after a restart that was broken off
		if r.file.KeepEEPROM {
			r.kept = r.board.Machine.EEPROM()
		}
		r.board.Machine.Free()
		r.board = nil
	}
	for i := range r.output {
		r.output[i].Edge(r.now, signal.Off)
	}
	r.line.ToStation.Clear()
	r.line.ToHost.Clear()
	if err := r.Wait(ctx, supplyOff); err != nil {
		return err
	}
	if err := r.supply(); err != nil {
		return err
	}
	return r.Wait(ctx, r.file.StartTime)
}

// ReopenLink has the line lie still for a while; what was on it is lost. The line has two wires, so that is all that the
// processor sees of it: a board that starts anew when its port is opened is another board.
func (r *Rig) ReopenLink(ctx context.Context, closed time.Duration) error {
	r.line.ToStation.Clear()
	err := r.Wait(ctx, closed)
	r.line.ToHost.Clear()
	return err
}

// Safe takes everything off the rails.
func (r *Rig) Safe() error {
	for i := range r.output {
		r.output[i].Remove(r.now)
		r.output[i].Flush()
	}
	return nil
}

// Usable is nil until the rig is closed.
func (r *Rig) Usable() error {
	if r.closed {
		return errClosed
	}
	return nil
}

// Close makes the rig safe and frees the processor.
func (r *Rig) Close() error {
	if r.closed {
		return nil
	}
	err := r.Safe()
	r.closed = true
	if r.board != nil {
		r.board.Machine.Free()
		r.board = nil
	}
	return errors.Join(err, r.line.Close())
}

// StationFault says how the firmware came to its end, if it did: where it crashed, or that it sleeps for ever. The
// processor then does nothing more; the rig's time goes on.
func (r *Rig) StationFault() string { return r.fault }

// StationResets counts how often the processor started anew by itself, as its watchdog makes it.
func (r *Rig) StationResets() int {
	if r.board == nil {
		return 0
	}
	return r.board.Machine.Resets()
}

// cycles and instant convert between the rig's time and the board's cycles: the first cycle not before t, and the time at
// which a cycle begins, to the nanosecond below.
func (r *Rig) cycles(t time.Duration) uint64 {
	d := uint64(t - r.base)
	hz := uint64(r.file.Clock)
	return d/1e9*hz + (d%1e9*hz+1e9-1)/1e9
}

func (r *Rig) instant(cycle uint64) time.Duration {
	hz := uint64(r.file.Clock)
	return r.base + time.Duration(cycle/hz*1e9+cycle%hz*1e9/hz)
}
