package simulated

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/rigs/rails"
	"bufferstop/rigs/wire"
)

// errClosed is what every call on a closed rig returns.
var errClosed = errors.New("simulated rig: closed")

// Options say which simulated rig to build. The zero value is a healthy station with nominal behaviour of seed 0.
type Options struct {
	// Name is what reports call the rig; "simulated" if empty.
	Name string
	// Seed decides everything random, and what the standards leave to the station.
	Seed int64
	// Defect is the name of a seeded defect, one of Defects; empty for a healthy station.
	Defect string
	// Habit is the name of a habit of the station, one of Habits; empty for what the defect needs, or the reference station's.
	Habit string
	// Nominal builds a station without variation: every value the standards' or the declared bands' middle, for those
	// who have to know it beforehand. What is random within one run stays random.
	Nominal bool
	// Forgets builds a station that does not know what was when the power of its main track was off: it begins anew with the
	// power-up sequence then (RP-9.2.4 A). Its file must not claim the contrary.
	Forgets bool
	// Dialect is what the station speaks, nil for the reference language. It needs a say in its answers: see
	// station.NewResponder.
	Dialect *station.Dialect
	// Numbering says which accessory the station calls number 1; the zero value is raw address 4.
	Numbering dcc.Numbering
	// Baud is the speed of the serial line, 10 bits a character. 115200 if zero.
	Baud int
	// Probe says how well the probe sees.
	Probe rails.Probe
	// Circuit is the hardware between the supply and the rails, the same for both outputs.
	Circuit rails.Circuit
}

// Rig is the simulated bench. It implements harness.Rig and is used by one goroutine at a time.
type Rig struct {
	options  Options
	settings settings
	now      time.Duration
	closed   bool

	random  rand.PCG   // of the converter
	jitter  *rand.Rand // of the stations' timers
	gain    float64    // counts per ampere of this station's sense amplifier
	line    wire.Line
	speaks  func(s *firmware, ready time.Duration) interpreter
	station *firmware
	output  [ports]rails.Output
}

var _ harness.Rig = (*Rig)(nil)

// New builds a rig whose station has just started and waits for its first command, with both outputs off. The error says
// which defect does not exist, or which option is out of its range.
func New(o Options) (*Rig, error) {
	given := o.Circuit
	if err := o.complete(); err != nil {
		return nil, err
	}
	r := &Rig{options: o, settings: nominal(), speaks: newSCPI}
	if err := r.learn(o.Dialect); err != nil {
		return nil, err
	}
	// One generator for each thing that draws, so that none depends on how often another is asked.
	seed := func(stream uint64) *rand.PCG { return rand.NewPCG(uint64(o.Seed), stream) }
	draw := rand.New(seed(1))
	gain := 1 + 0.01*(2*draw.Float64()-1)
	if o.Nominal {
		gain = 1
	} else {
		r.settings.vary(draw)
	}
	r.settings.forgets = o.Forgets
	r.gain = countsPerAmpere * gain
	r.settings.numbering = o.Numbering
	if err := r.form(&o, draw); err != nil {
		return nil, err
	}
	r.random, r.jitter = *seed(2), rand.New(seed(3))
	character := 10 * time.Second / time.Duration(o.Baud)
	r.line = wire.Line{World: r, ToStation: wire.Queue{Character: character}, ToHost: wire.Queue{Character: character}}
	names := [ports]station.Track{station.Main, station.Programming}
	for i := range r.output {
		r.output[i] = rails.New(names[i], r.settings.wired(given), o.Probe, rand.New(seed(4+uint64(i))))
	}
	r.build(-r.settings.bootTime)
	return r, nil
}

// learn gives the rig's stations their language.
func (r *Rig) learn(d *station.Dialect) error {
	if d == nil || d.Name() == referenceDialect {
		return nil
	}
	responder, err := station.NewResponder(d)
	if err == nil {
		_, err = responder.Started()
	}
	if err != nil {
		return fmt.Errorf("simulated rig: a station that speaks the dialect %q: %w", d.Name(), err)
	}
	r.speaks = speaks(responder)
	return nil
}

// The speeds of the serial line, in baud.
const (
	slowest     = 300
	fastest     = 4_000_000
	defaultBaud = 115200
)

// complete puts the defaults in and checks the rest.
func (o *Options) complete() error {
	o.Name, o.Baud = cmp.Or(o.Name, "simulated"), cmp.Or(o.Baud, defaultBaud)
	o.Probe, o.Circuit = o.Probe.WithDefaults(), o.Circuit.WithDefaults()
	if o.Baud < slowest || o.Baud > fastest {
		return fmt.Errorf("simulated rig: baud rate %d, want %d to %d", o.Baud, slowest, fastest)
	}
	for _, err := range []error{o.Probe.Check(), o.Circuit.Check()} {
		if err != nil {
			return fmt.Errorf("simulated rig: %w", err)
		}
	}
	return nil
}

// build puts a station on the bench whose supply comes on at t.
func (r *Rig) build(t time.Duration) {
	r.station = newFirmware(&r.settings, r.jitter, t, r.speaks, func(t time.Duration, text string) {
		r.line.ToHost.Put(t, []byte(text))
	})
}

// Describe says what the rig is and what it can do.
func (r *Rig) Describe() harness.Description {
	all := []harness.Ability{
		harness.SeeEdges, harness.SeeCurrent, harness.LayShort, harness.LayLoad, harness.LayInrush,
		harness.FitDecoder, harness.CutSupply, harness.ReopenLink, harness.SeeVolts,
	}
	return harness.Description{
		Name: r.options.Name,
		Kind: "simulated",
		Seed: r.options.Seed,
		Tracks: map[station.Track][]harness.Ability{
			station.Main:        slices.Clone(all),
			station.Programming: all,
		},
		EdgeUncertainty:    r.options.Probe.EdgeUncertainty(),
		SampleInterval:     r.options.Probe.SampleInterval,
		CurrentUncertainty: r.options.Probe.CurrentUncertainty(),
		Budgets:            r.options.Probe.Budgets(),
	}
}

// Now is the virtual time since the rig was built.
func (r *Rig) Now() time.Duration { return r.now }

// Wait lets d of virtual time pass. It looks at ctx every few milliseconds of it.
func (r *Rig) Wait(ctx context.Context, d time.Duration) error {
	return r.Advance(ctx, r.now+max(d, 0), false)
}

// Link is the serial line to the station. A Write takes no virtual time while the transmit buffer of 4096 characters has
// room; the characters then take their time on the line.
func (r *Rig) Link() link.Link { return &r.line }

// Line is the serial line to the station, for those who serve the station to others.
func (r *Rig) Line() *wire.Line { return &r.line }

// Track returns one of the two outputs.
func (r *Rig) Track(name station.Track) harness.Track {
	for i := range r.output {
		if r.output[i].Name() == name {
			return r.output[i].Track(r)
		}
	}
	return nil
}

// supplyOff is how long Restart leaves the station without supply.
const supplyOff = 500 * time.Millisecond

// Restart takes the station's supply away for half a second and waits until the station has started up. Characters that
// were on the line are lost.
func (r *Rig) Restart(ctx context.Context) error {
	started, err := r.CutSupply()
	if err != nil {
		return err
	}
	return r.Wait(ctx, started)
}

// CutSupply is the part of Restart that takes no time. It returns how long it takes until the station has started up.
func (r *Rig) CutSupply() (started time.Duration, err error) {
	if r.closed {
		return 0, errClosed
	}
	for i := range r.output {
		r.output[i].Edge(r.now, signal.Off)
	}
	r.line.ToStation.Clear()
	r.line.ToHost.Clear()
	r.build(r.now + supplyOff)
	return supplyOff + r.settings.bootTime + time.Millisecond, nil
}

// HostLeaves is the part of ReopenLink that takes no time.
func (r *Rig) HostLeaves() {
	r.line.ToStation.Clear()
	r.station.hostLeft()
}

// ReopenLink has the line lie still for a while; what was on it is lost.
func (r *Rig) ReopenLink(ctx context.Context, closed time.Duration) error {
	r.HostLeaves()
	err := r.Wait(ctx, closed)
	r.line.ToHost.Clear()
	return err
}

// Safe takes everything off the rails.
func (r *Rig) Safe() error {
	for i := range r.output {
		r.output[i].Remove(r.now)
	}
	r.flush()
	return nil
}

// Usable is nil until the rig is closed.
func (r *Rig) Usable() error {
	if r.closed {
		return errClosed
	}
	return nil
}

// Close makes the rig safe and closes its link. Virtual time then stands still for ever.
func (r *Rig) Close() error {
	if r.closed {
		return nil
	}
	err := r.Safe()
	r.closed = true
	return errors.Join(err, r.line.Close())
}
