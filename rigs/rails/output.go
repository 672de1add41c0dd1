// Package rails is what lies between the bridge of a station and the rails, in software: supply, resistances and sense
// resistor, the decoders and loads and shorts across the rails, and the probe that sees them. Whoever drives the bridge
// (a simulated station, a firmware on a simulated processor) tells an Output its edges and asks it for currents.
package rails

import (
	"math"
	"math/rand/v2"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"periph.io/x/conn/v3/physic"
)

// An Output is the hardware behind one track output: bridge, circuit, and what lies across the rails. It is used by one
// goroutine at a time, and times given to it never go back.
type Output struct {
	name    station.Track
	circuit circuit

	decoders    []*fakedecoder.Decoder
	load        float64 // amperes
	capacitor   capacitor
	conductance float64 // of a short

	driven signal.Level // what the bridge does
	// seen and fed tell whether the voltage suffices the probe and the decoders while the bridge is on.
	seen, fed bool
	shown     signal.Level // what the probe sees
	felt      signal.Level // what the decoders see

	probe probe
}

// capacitor is an empty capacitor that was laid across the rails. It begins to charge when the track has voltage.
type capacitor struct {
	peak    float64
	tau     time.Duration
	since   time.Duration
	waiting bool
}

// charged is when the charging current counts as nothing: 1/5000 of the peak.
const charged = 8.5

func (c *capacitor) current(t time.Duration) float64 {
	if c.peak == 0 || c.waiting {
		return 0
	}
	x := float64(t-c.since) / float64(c.tau)
	if x > charged {
		c.peak = 0
		return 0
	}
	return c.peak * math.Exp(-x)
}

// New builds an output with nothing across its rails. Circuit and probe are complete and have passed their checks.
func New(name station.Track, c Circuit, p Probe, random *rand.Rand) Output {
	return Output{name: name, circuit: c.circuit(), probe: newProbe(p, random)}
}

// Name is the track's.
func (o *Output) Name() station.Track { return o.name }

// Driven is what the bridge does.
func (o *Output) Driven() signal.Level { return o.driven }

// Edge sets the bridge at t.
func (o *Output) Edge(t time.Duration, level signal.Level) {
	if o.probe.scope.left > 0 {
		o.probe.scope.edge(o, t, level)
	}
	if !o.seen || !o.fed || o.driven == signal.Off || level == signal.Off {
		o.drive(t, level)
		return
	}
	o.driven, o.shown, o.felt = level, level, level
	e := signal.Edge{Time: t, Level: level}
	for _, d := range o.decoders {
		d.Edge(e)
	}
	o.probe.edge(t, level)
}

// drive sets the bridge.
func (o *Output) drive(t time.Duration, level signal.Level) {
	was := o.driven
	o.driven = level
	if was == signal.Off || level == signal.Off {
		o.settle(t)
		return
	}
	o.show(t)
}

// settle works out whether the voltage suffices, after anything about the circuit has changed, and returns the current.
func (o *Output) settle(t time.Duration) float64 {
	if o.driven == signal.Off {
		o.show(t)
		return 0
	}
	// Decoders that get power draw their inrush at once, so ask first what the track would be with those that have it.
	for range 2 {
		v, i := o.circuit.solve(o.demand(t), o.conductance)
		fed := v >= sufficient
		o.seen = v >= visible
		if fed == o.fed && (o.felt != signal.Off) == fed {
			o.show(t)
			return i
		}
		o.fed = fed
		o.show(t)
	}
	_, i := o.circuit.solve(o.demand(t), o.conductance)
	return i
}

// demand is what everything that is a current sink draws while the track has voltage.
func (o *Output) demand(t time.Duration) float64 {
	if o.capacitor.waiting {
		o.capacitor.waiting, o.capacitor.since = false, t
	}
	sum := o.load
	if o.capacitor.peak != 0 {
		sum += o.capacitor.current(t)
	}
	for _, d := range o.decoders {
		sum += float64(d.Current(t)) * (1 / float64(physic.Ampere))
	}
	return sum
}

// show tells the probe and the decoders what they see.
func (o *Output) show(t time.Duration) {
	felt, shown := o.driven, o.driven
	if !o.fed {
		felt = signal.Off
	}
	if !o.seen {
		shown = signal.Off
	}
	if felt != o.felt {
		o.felt = felt
		for _, d := range o.decoders {
			d.Edge(signal.Edge{Time: t, Level: felt})
		}
	}
	if shown != o.shown {
		o.shown = shown
		o.probe.edge(t, shown)
	}
}

// Amperes is the current through the sense resistor.
func (o *Output) Amperes(t time.Duration) float64 {
	if o.driven == signal.Off {
		return 0
	}
	// With no short and far from the limit the voltage is sure to suffice.
	if o.conductance == 0 && o.fed && o.seen {
		if i := o.demand(t); i < o.circuit.plenty {
			return i
		}
	}
	return o.settle(t)
}

// Remove takes everything off the rails at t.
func (o *Output) Remove(t time.Duration) {
	o.conductance, o.load, o.capacitor = 0, 0, capacitor{}
	clear(o.decoders)
	o.decoders = o.decoders[:0]
	o.settle(t)
}

// SampleAt is when the probe takes its next current sample, or later than any time of a rig.
func (o *Output) SampleAt() time.Duration { return o.probe.sampleAt }

// Sample takes the current sample that is due at t.
func (o *Output) Sample(t time.Duration) { o.probe.sample(t, o.Amperes(t)) }

// Flush hands out what the probe has gathered.
func (o *Output) Flush() { o.probe.flush() }
