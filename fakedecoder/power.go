package fakedecoder

import (
	"math"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"

	"periph.io/x/conn/v3/physic"
)

const (
	// inrushPieces is into how many pieces a time constant is cut for those who draw straight lines.
	inrushPieces = 16
	// inrushEnd is where the exponential counts as over: no probe of the trade sees less.
	inrushEnd = 100 * physic.MicroAmpere
)

// power is the decoder's own supply behind its rectifier.
type power struct {
	offSince time.Duration
	// deficit is how empty the capacitor was when charging began, or when power went: 1 empty, 0 full.
	deficit float64
	// charging from the instant on until the instant full.
	charging bool
	on, full time.Duration
}

// switchPower takes an edge that leaves or enters the off state.
func (d *Decoder) switchPower(e signal.Edge) {
	switch {
	case e.Level == signal.Off && d.level != signal.Off:
		d.powerOff(e.Time)
	case e.Level != signal.Off && d.level == signal.Off:
		d.powerOn(e.Time)
	}
}

func (d *Decoder) powerOff(t time.Duration) {
	d.settle(t)
	d.power.offSince = t
	if d.power.charging {
		d.power.deficit *= d.remaining(t)
		d.power.charging = false
	} else {
		d.power.deficit = 0
	}
}

func (d *Decoder) powerOn(t time.Duration) {
	p := &d.power
	first := d.counters.PowerUps == 0
	off := t - p.offSince
	if first || off > d.config.Hold {
		p.deficit = 1
		d.powerUp(p.offSince + d.config.Hold)
	} else {
		// The capacitor runs empty in a straight line over the hold time: invented.
		p.deficit = min(p.deficit+float64(off)/float64(max(d.config.Hold, 1)), 1)
	}
	d.startInrush(t)
}

// powerUp puts the decoder into its power-up state: stopped, functions off, operations mode (RP-9.2.4 A). Its processor
// lost its supply at the instant lost, and with it a write that was not finished by then.
func (d *Decoder) powerUp(lost time.Duration) {
	d.counters.PowerUps++
	d.settle(lost)
	d.cvs.pending = pendingWrite{}
	if d.cvs.resetting {
		// The factory reset completes over the power cycle (S-9.2.3 E, July 2012).
		d.cvs.factory()
		d.readdress()
	}
	d.mode = operationsMode
	d.service = service{page: 1}
	d.main = mainAccess{}
	d.motion = motion{direction: dcc.Forward}
	d.active = functions{}
	d.given.end = 0
	kept := d.pulses[:0]
	for _, p := range d.pulses {
		if !p.acknowledge {
			kept = append(kept, p)
		}
	}
	d.pulses = kept
	d.draw()
}

// startInrush begins to charge the capacitor.
func (d *Decoder) startInrush(t time.Duration) {
	p := &d.power
	peak := float64(d.config.Inrush.Peak) * p.deficit
	p.charging = peak > float64(inrushEnd)
	if !p.charging {
		return
	}
	p.on = t
	p.full = t + max(time.Duration(float64(d.config.Inrush.Tau)*math.Log(peak/float64(inrushEnd))), 1)
}

// remaining is the part of the charge that began at on which is still to come at t: 1 at first, falling to 0.
func (d *Decoder) remaining(t time.Duration) float64 {
	if t >= d.power.full {
		return 0
	}
	return math.Exp(-float64(max(t-d.power.on, 0)) / float64(d.config.Inrush.Tau))
}

// inrush is the charging current at t.
func (d *Decoder) inrush(t time.Duration) physic.ElectricCurrent {
	if t >= d.power.full {
		d.power.charging = false
		d.power.deficit = 0
		return 0
	}
	return physic.ElectricCurrent(float64(d.config.Inrush.Peak) * d.power.deficit * d.remaining(t))
}

// nextOfInrush is the next end of a piece of the exponential.
func (d *Decoder) nextOfInrush(t time.Duration) (time.Duration, bool) {
	p := &d.power
	if t >= p.full {
		return 0, false
	}
	if t < p.on {
		return p.on, true
	}
	piece := max(d.config.Inrush.Tau/inrushPieces, 1)
	return min(p.on+((t-p.on)/piece+1)*piece, p.full), true
}
