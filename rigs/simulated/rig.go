package simulated

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"periph.io/x/conn/v3/physic"
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
	// Nominal builds a station without variation: every value the standards' or the declared bands' middle, for those
	// who have to know it beforehand. What is random within one run stays random.
	Nominal bool
	// Dialect is what the station speaks, nil for the reference language. It needs a say in its answers: see
	// station.NewResponder.
	Dialect *station.Dialect
	// Baud is the speed of the serial line, 10 bits a character. 115200 if zero.
	Baud int
	// Probe says how well the probe sees.
	Probe Probe
	// Circuit is the hardware between the supply and the rails, the same for both outputs.
	Circuit Circuit
}

// A Circuit is what lies between the supply and the rails. A field that is zero stands for its default.
type Circuit struct {
	Supply physic.ElectricPotential  // 16 V
	Limit  physic.ElectricCurrent    // the most that the supply gives to one output: 5 A
	Drop   physic.ElectricPotential  // fixed drop of the bridge: 1.2 V
	Bridge physic.ElectricResistance // resistance of the bridge: 0.3 Ω
	Sense  physic.ElectricResistance // sense resistor: 0.15 Ω
	Wiring physic.ElectricResistance // to the rails and back: 0.2 Ω
}

func (c Circuit) withDefaults() Circuit {
	fill(&c.Supply, 16*physic.Volt)
	fill(&c.Limit, 5*physic.Ampere)
	fill(&c.Drop, 1200*physic.MilliVolt)
	fill(&c.Bridge, 300*physic.MilliOhm)
	fill(&c.Sense, 150*physic.MilliOhm)
	fill(&c.Wiring, 200*physic.MilliOhm)
	return c
}

func fill[T comparable](field *T, value T) {
	var zero T
	if *field == zero {
		*field = value
	}
}

func (c Circuit) circuit() circuit {
	volts := func(v physic.ElectricPotential) float64 { return float64(v) / float64(physic.Volt) }
	ohms := func(r physic.ElectricResistance) float64 { return float64(r) / float64(physic.Ohm) }
	return newCircuit(circuit{
		supply: volts(c.Supply), limit: float64(c.Limit) / float64(physic.Ampere), drop: volts(c.Drop),
		bridge: ohms(c.Bridge), sense: ohms(c.Sense), wiring: ohms(c.Wiring),
	})
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
	line    line
	speaks  func(s *firmware, ready time.Duration) interpreter
	station *firmware
	output  [ports]output
}

var _ harness.Rig = (*Rig)(nil)

// New builds a rig whose station has just started and waits for its first command, with both outputs off. The error says
// which defect does not exist, or which option is out of its range.
func New(o Options) (*Rig, error) {
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
	r.gain = countsPerAmpere * gain
	if o.Defect != "" {
		d, err := Find(o.Defect)
		if err != nil {
			return nil, err
		}
		d.apply(&r.settings)
	}
	r.random, r.jitter = *seed(2), rand.New(seed(3))
	r.line = line{rig: r, character: 10 * time.Second / time.Duration(o.Baud)}
	names := [ports]station.Track{station.Main, station.Programming}
	for i := range r.output {
		r.output[i] = output{name: names[i], circuit: o.Circuit.circuit(), probe: newProbe(o.Probe, rand.New(seed(4+uint64(i))))}
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

// complete puts the defaults in and checks the rest.
func (o *Options) complete() error {
	fill(&o.Name, "simulated")
	fill(&o.Baud, 115200)
	o.Probe, o.Circuit = o.Probe.withDefaults(), o.Circuit.withDefaults()
	p := o.Probe
	switch {
	case o.Baud < 300 || o.Baud > 4_000_000:
		return fmt.Errorf("simulated rig: baud rate %d, want 300 to 4000000", o.Baud)
	case p.Clock < physic.MegaHertz/10 || p.Clock > physic.GigaHertz:
		return fmt.Errorf("simulated rig: probe clock %v, want 100kHz to 1GHz", p.Clock)
	case p.Noise < 0 || p.Noise > 10*time.Microsecond:
		return fmt.Errorf("simulated rig: probe noise %v, want 0s to 10µs", p.Noise)
	case p.SampleInterval < 10*time.Microsecond || p.SampleInterval > time.Second:
		return fmt.Errorf("simulated rig: sample interval %v, want 10µs to 1s", p.SampleInterval)
	case p.CurrentStep < 0 || p.CurrentNoise < 0 || p.CurrentStep > physic.Ampere || p.CurrentNoise > physic.Ampere:
		return fmt.Errorf("simulated rig: current step %v and noise %v, want 0A to 1A", p.CurrentStep, p.CurrentNoise)
	}
	c := o.Circuit.circuit()
	if c.supply > 30 || c.supply-c.drop < sufficient || c.limit <= 0 || min(c.drop, c.bridge, c.sense, c.wiring) < 0 || c.bridge+c.sense+c.wiring <= 0 {
		return fmt.Errorf("simulated rig: circuit %+v, want a supply of at most 30 V that leaves 7 V at the rails, and no negative value", o.Circuit)
	}
	return nil
}

// build puts a station on the bench whose supply comes on at t.
func (r *Rig) build(t time.Duration) {
	r.station = newFirmware(&r.settings, r.jitter, t, r.speaks, func(t time.Duration, text string) {
		r.line.toHost.put(t, r.line.character, []byte(text))
	})
	for i := range r.output {
		r.output[i].generator = &r.station.port[i].generator
	}
}

// Describe says what the rig is and what it can do.
func (r *Rig) Describe() harness.Description {
	all := []harness.Ability{
		harness.SeeEdges, harness.SeeCurrent, harness.LayShort, harness.LayLoad, harness.FitDecoder, harness.CutSupply,
	}
	return harness.Description{
		Name: r.options.Name,
		Kind: "simulated",
		Seed: r.options.Seed,
		Tracks: map[station.Track][]harness.Ability{
			station.Main:        slices.Clone(all),
			station.Programming: all,
		},
		EdgeUncertainty:    r.options.Probe.edgeUncertainty(),
		SampleInterval:     r.options.Probe.SampleInterval,
		CurrentUncertainty: r.options.Probe.currentUncertainty(),
	}
}

// Now is the virtual time since the rig was built.
func (r *Rig) Now() time.Duration { return r.now }

// Wait lets d of virtual time pass. It looks at ctx every few milliseconds of it.
func (r *Rig) Wait(ctx context.Context, d time.Duration) error {
	return r.advance(ctx, r.now+max(d, 0), untilTime)
}

// Link is the serial line to the station. A Write takes no virtual time while the transmit buffer of 4096 characters has
// room; the characters then take their time on the line.
func (r *Rig) Link() link.Link { return &r.line }

// Underway is what the station has said that is still on the line to the host.
func (r *Rig) Underway() []byte { return r.line.toHost.bytes }

// Track returns one of the two outputs.
func (r *Rig) Track(name station.Track) harness.Track {
	for i := range r.output {
		if r.output[i].name == name {
			return &track{r, &r.output[i]}
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
		r.output[i].drive(r.now, signal.Off)
	}
	r.line.toStation.clear()
	r.line.toHost.clear()
	r.build(r.now + supplyOff)
	return supplyOff + r.settings.bootTime + time.Millisecond, nil
}

// Safe takes everything off the rails.
func (r *Rig) Safe() error {
	for i := range r.output {
		r.output[i].remove()
		r.output[i].settle(r.now)
	}
	r.flush()
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

// track is one output as the harness sees it.
type track struct {
	rig *Rig
	*output
}

var _ harness.Track = (*track)(nil)

func (t *track) Name() station.Track { return t.name }

func (t *track) Listen(l harness.Listener) (cancel func()) {
	p := &t.probe
	p.flush()
	if p.sampleAt == never {
		p.sampleAt = t.rig.now + p.SampleInterval
	}
	p.last = max(p.last, t.rig.now)
	entry := &listening{Listener: l}
	p.listeners = append(p.listeners, entry)
	l.Edges([]signal.Edge{{Time: p.last, Level: t.shown}})
	return func() {
		if entry.cancelled {
			return
		}
		p.flush()
		entry.cancelled = true
		// A new slice, since this may be called while flush goes through the old one.
		p.listeners = slices.DeleteFunc(slices.Clone(p.listeners), func(e *listening) bool { return e == entry })
		if len(p.listeners) == 0 {
			p.sampleAt = never
		}
	}
}

func (t *track) Fit(c fakedecoder.Config) (*fakedecoder.Decoder, error) {
	d, err := fakedecoder.New(c)
	if err != nil {
		return nil, err
	}
	d.Edge(signal.Edge{Time: t.rig.now, Level: t.felt})
	t.decoders = append(t.decoders, d)
	return d, t.changed()
}

func (t *track) Short(r physic.ElectricResistance) error {
	if r <= 0 {
		return fmt.Errorf("simulated rig: a short of %v on the %s track, want more than 0 Ω", r, t.name)
	}
	t.conductance = float64(physic.Ohm) / float64(r)
	return t.changed()
}

func (t *track) Load(i physic.ElectricCurrent) error {
	if i < 0 {
		return fmt.Errorf("simulated rig: a load of %v on the %s track, want 0 A or more", i, t.name)
	}
	t.load = float64(i) / float64(physic.Ampere)
	return t.changed()
}

func (t *track) Inrush(peak physic.ElectricCurrent, tau time.Duration) error {
	if peak < 0 || tau <= 0 {
		return fmt.Errorf("simulated rig: an inrush of %v with a time constant of %v on the %s track, want 0 A or more and more than 0 s",
			peak, tau, t.name)
	}
	t.capacitor = capacitor{peak: float64(peak) / float64(physic.Ampere), tau: tau, since: t.rig.now, waiting: true}
	return t.changed()
}

func (t *track) Open() error {
	t.remove()
	return t.changed()
}

// changed lets a change of the circuit take effect at once.
func (t *track) changed() error {
	if t.rig.closed {
		return errClosed
	}
	t.settle(t.rig.now)
	return nil
}
