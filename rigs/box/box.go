//go:build simavr

package box

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/rigs/firmware"
	"bufferstop/rigs/processor"
	"bufferstop/rigs/rails"
	"bufferstop/rigs/wire"

	"periph.io/x/conn/v3/physic"
)

// A Box is a bench in a box. It is used by one goroutine at a time. Its time is virtual, and passes while somebody advances it
// or waits on one of its lines.
type Box struct {
	options Options
	now     time.Duration
	tracks  []track // in the order of the station's outputs

	board    *firmware.Board // nil while the station has no supply
	kept     []byte          // what was in its EEPROM when the supply went, where it is kept
	station  half
	stopped  bool // the station's processor does nothing more
	sampling bool // the station's converter waits for its current, at the end of the stretch
	edges    []firmware.Edge
	pending  int           // of edges: the first that has not reached the rails
	railed   time.Duration // the latest time that the rails know of
	sent     []processor.Sent

	probe   half
	machine *processor.Machine
	dead    bool // the probe's processor does nothing more
	pins    [256]byte
	changes []processor.Change
	cut     bool // the probe keeps the station without supply

	log    []Event
	closed bool
}

// side is a serial line of the box, as the world that it is part of.
type side struct {
	*Box
	wire.Line
}

// errClosed is what every call on a closed box returns.
var errClosed = errors.New("bench in a box: closed")

// Open builds the box and gives both processors their supply.
func Open(o Options) (*Box, error) {
	b := &Box{options: o}
	fail := func(err error) (*Box, error) {
		return nil, errors.Join(fmt.Errorf("bench in a box: %w", err), b.Close())
	}
	b.station = half{name: "station", line: b.side(o.Station.Baud), clock: clock{milliHertz: o.Station.Clock * 1000}}
	b.probe = half{name: "probe", line: b.side(o.Board.Baud), clock: clockOf(o.Board.Clock, o.PPM)}
	if err := b.build(); err != nil {
		return fail(err)
	}
	if err := b.giveSupply(); err != nil {
		return fail(err)
	}
	return b, nil
}

func (b *Box) side(baud int) *side {
	character := 10 * time.Second / time.Duration(baud) // eight data bits, no parity, one stop bit
	s := &side{Box: b}
	s.Line = wire.Line{World: s, ToStation: wire.Queue{Character: character}, ToHost: wire.Queue{Character: character}}
	return s
}

// build wires the tracks, and builds the probe.
func (b *Box) build() (err error) {
	o := &b.options
	// Comparators and converters of the probe are in its firmware's hands: what is told here is what happens on the rails.
	ideal := rails.Probe{Clock: physic.GigaHertz, SampleInterval: time.Second}
	for _, output := range o.Station.Outputs {
		t := track{Output: rails.New(output.Track, o.Station.Circuit, ideal, rand.New(rand.NewPCG(0, 0))), absentAt: never}
		for i := range o.Board.Tracks {
			if o.Board.Tracks[i].Track == output.Track {
				t.wired = &o.Board.Tracks[i]
			}
		}
		b.tracks = append(b.tracks, t)
	}
	b.machine, err = processor.New(processor.Config{
		MCU: o.Board.MCU, Clock: o.Board.Clock, Millivolts: 5000, UART: o.Board.UART, Watch: o.Board.ports(),
	})
	if err != nil {
		return err
	}
	b.machine.StopAtChanges()
	if err := b.machine.Flash(o.ProbeImage); err != nil {
		return err
	}
	for i := range o.Board.Tracks {
		w := &o.Board.Tracks[i]
		if err := errors.Join(b.machine.SetPin(0, w.Sign, false), b.machine.SetPin(0, w.Absent, true)); err != nil {
			return err
		}
	}
	for i := range b.tracks {
		if t := &b.tracks[i]; t.wired != nil {
			t.Output.Track(b).Listen(&t.seen)
			t.seen.edges = t.seen.edges[:0] // the level at the beginning
		}
	}
	return nil
}

// Now is the time since the box got its supply.
func (b *Box) Now() time.Duration { return b.now }

// Usable is nil until the box is closed.
func (b *Box) Usable() error {
	if b.closed {
		return errClosed
	}
	return nil
}

// StationLine and ProbeLine are the serial lines, for those who use them in virtual time.
func (b *Box) StationLine() *wire.Line { return &b.station.line.Line }

// ProbeLine is the serial line of the probe.
func (b *Box) ProbeLine() *wire.Line { return &b.probe.line.Line }

// LastByte is when the last byte from a host had arrived at the station, and at the probe.
func (b *Box) LastByte() (atStation, atProbe time.Duration) {
	return b.station.lastByte, b.probe.lastByte
}

// Log is what has happened. It is the box's: it stays as it is until the box runs on.
func (b *Box) Log() []Event { return b.log }

// logMost is how many events the log keeps: the latest. Our own choice.
const logMost = 1 << 16

// tell takes an event into the log.
func (b *Box) tell(e Event) {
	if len(b.log) == logMost {
		b.log = b.log[:copy(b.log, b.log[logMost/2:])]
	}
	b.log = append(b.log, e)
	if b.options.Tell != nil && e.What != LoadChanges {
		b.options.Tell(e)
	}
}

// Driven is what the station does with a track, Off for one that it does not have.
func (b *Box) Driven(name station.Track) signal.Level {
	for i := range b.tracks {
		if b.tracks[i].Name() == name {
			return b.tracks[i].Driven()
		}
	}
	return signal.Off
}

// Advance lets the box run to the time to.
func (b *Box) Advance(ctx context.Context, to time.Duration) error {
	return b.probe.line.Advance(ctx, to, false)
}

// Advance lets the box run to the time to, or with orByte until a byte has arrived at the host of this line.
func (s *side) Advance(ctx context.Context, to time.Duration, orByte bool) error {
	if s.closed {
		return errClosed
	}
	return s.Run(ctx, to, orByte, func(to time.Duration) { s.step(min(to, s.now+slice)) })
}

// Close frees the processors. A second Close does nothing.
func (b *Box) Close() error {
	b.closed = true
	if b.board != nil {
		b.board.Machine.Free()
		b.board = nil
	}
	if b.machine != nil {
		b.machine.Free()
	}
	return nil
}
