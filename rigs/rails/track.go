package rails

import (
	"fmt"
	"slices"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/signal"
	"bufferstop/harness/voltage"

	"periph.io/x/conn/v3/physic"
)

// track is one output as the harness sees it.
type track struct {
	rig Rig
	*Output
}

// A Rig is who owns an output: it has the clock.
type Rig interface {
	// Now is the present time of the rig.
	Now() time.Duration
	// Usable is nil, or says why nothing can be done any more.
	Usable() error
}

var (
	_ harness.Track     = (*track)(nil)
	_ harness.Voltmeter = (*track)(nil)
)

// Track is the output as the harness sees it. What is done to it takes effect at the rig's present time.
func (o *Output) Track(r Rig) harness.Track { return &track{r, o} }

func (t *track) Listen(l harness.Listener) (cancel func()) {
	p := &t.probe
	p.flush()
	if p.sampleAt == never {
		p.sampleAt = t.rig.Now() + p.SampleInterval
	}
	p.last = max(p.last, t.rig.Now())
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

// Traces is what the probe's oscilloscope sees.
func (t *track) Traces(n int, take func(voltage.Trace)) (cancel func()) {
	return t.probe.scope.arm(n, take)
}

func (t *track) Fit(c fakedecoder.Config) (*fakedecoder.Decoder, error) {
	d, err := fakedecoder.New(c)
	if err != nil {
		return nil, err
	}
	d.Edge(signal.Edge{Time: t.rig.Now(), Level: t.felt})
	t.decoders = append(t.decoders, d)
	return d, t.changed()
}

func (t *track) Short(r physic.ElectricResistance) error {
	if r <= 0 {
		return fmt.Errorf("a short of %v on the %s track, want more than 0 Ω", r, t.name)
	}
	t.conductance = float64(physic.Ohm) / float64(r)
	return t.changed()
}

func (t *track) Load(i physic.ElectricCurrent) error {
	if i < 0 {
		return fmt.Errorf("a load of %v on the %s track, want 0 A or more", i, t.name)
	}
	t.load = float64(i) / float64(physic.Ampere)
	return t.changed()
}

func (t *track) Inrush(peak physic.ElectricCurrent, tau time.Duration) error {
	if peak < 0 || tau <= 0 {
		return fmt.Errorf("an inrush of %v with a time constant of %v on the %s track, want 0 A or more and more than 0 s",
			peak, tau, t.name)
	}
	t.capacitor = capacitor{peak: float64(peak) / float64(physic.Ampere), tau: tau, since: t.rig.Now(), waiting: true}
	return t.changed()
}

func (t *track) Open() error {
	t.Remove(t.rig.Now())
	return t.rig.Usable()
}

// changed lets a change of the circuit take effect at once.
func (t *track) changed() error {
	if err := t.rig.Usable(); err != nil {
		return err
	}
	t.settle(t.rig.Now())
	return nil
}
