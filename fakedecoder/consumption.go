package fakedecoder

import (
	"time"

	"bufferstop/harness/signal"

	"periph.io/x/conn/v3/physic"
)

// Current is the current that the decoder demands at t while the track has voltage, and 0 while it has none. It is never
// negative. t is not before any time that the decoder was given earlier.
func (d *Decoder) Current(t time.Duration) physic.ElectricCurrent {
	d.now = max(d.now, t)
	if d.level == signal.Off {
		return 0
	}
	i := d.steady
	if d.power.charging {
		i += d.inrush(t)
	}
	if len(d.pulses) != 0 {
		d.forget(t)
		for k := range d.pulses {
			i += d.pulses[k].current(t)
		}
	}
	return i
}

// NextChange is the next instant after t at which the demand jumps or bends, as far as no further edge alters it; false
// when there is none. Between two such instants the demand is a straight line, except that the exponential of an inrush
// is cut into pieces of a sixteenth of its time constant: a straight line over one of them is at most 0.05 % of the peak
// off.
func (d *Decoder) NextChange(t time.Duration) (time.Duration, bool) {
	if d.level == signal.Off || !d.power.charging && len(d.pulses) == 0 {
		return 0, false
	}
	next, found := time.Duration(0), false
	if d.power.charging {
		next, found = d.nextOfInrush(t)
	}
	d.forget(t)
	for k := range d.pulses {
		if n := d.pulses[k].next(t); !found || n < next {
			next, found = n, true
		}
	}
	return next, found
}

// forget takes away the pulses that have ended at t.
func (d *Decoder) forget(t time.Duration) {
	kept := d.pulses[:0]
	for _, p := range d.pulses {
		if t < p.end {
			kept = append(kept, p)
		}
	}
	d.pulses = kept
}

// draw works out the steady part of the demand after motor or outputs have changed.
func (d *Decoder) draw() {
	d.steady = d.config.Quiescent
	if m := d.motion; m.step > 0 {
		d.steady += d.config.Motor * physic.ElectricCurrent(m.step) / physic.ElectricCurrent(m.steps.Max())
	}
	d.steady += d.config.Output * physic.ElectricCurrent(d.active.count())
}
