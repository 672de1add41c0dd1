package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"periph.io/x/conn/v3/physic"
)

// A probedTrack is a track that a probe watches.
type probedTrack struct {
	rig       *probed
	name      station.Track
	id        int
	rating    probe.TrackHello
	listeners []*listening
	level     signal.Level
	playout   *playout
	reflex    *reflex // of the decoder whose acknowledges the probe gives, or nil
	changed   time.Duration
}

var (
	_ harness.Track = (*probedTrack)(nil)
	_ harness.Dated = (*probedTrack)(nil)
)

// A listening is one listener, until it is cancelled.
type listening struct {
	harness.Listener
	cancelled bool
}

// deadShort is up to which resistance a short is a dead one: what does not matter beside it is what pulls the rails
// down far enough for any decoder to lose its power. At 1 Ω a supply of 5 A leaves 5 V at the rails, and S-9.1 C, Table 3
// (2020) gives a decoder 7 V at the least. Our own choice.
const deadShort = physic.Ohm

func (t *probedTrack) Name() station.Track { return t.name }

// Changed follows harness.Dated.
func (t *probedTrack) Changed() time.Duration { return t.changed }

// Listen follows the rules of harness.Track.
func (t *probedTrack) Listen(l harness.Listener) (cancel func()) {
	entry := &listening{Listener: l}
	t.listeners = append(t.listeners, entry)
	l.Edges([]signal.Edge{{Time: t.rig.Now(), Level: t.level}})
	return func() {
		entry.cancelled = true
		// A new slice, since this may be called while tell goes through the old one.
		t.listeners = slices.DeleteFunc(slices.Clone(t.listeners), func(e *listening) bool { return e == entry })
	}
}

func (t *probedTrack) tell(what func(harness.Listener)) {
	for _, l := range t.listeners {
		if !l.cancelled {
			what(l.Listener)
		}
	}
}

func (t *probedTrack) edges(edges []signal.Edge) {
	for _, l := range t.listeners {
		if !l.cancelled {
			l.Edges(edges)
		}
	}
	if len(edges) > 0 {
		t.level = edges[len(edges)-1].Level
	}
	for _, e := range edges {
		t.playout.edge(e)
	}
}

// lost passes a lost stretch on. A fake decoder cannot be told of it: it may have missed a packet.
func (t *probedTrack) lost(from, to time.Duration) {
	if !t.playout.idle() {
		t.rig.mishaps.Missed++
	}
	t.tell(func(l harness.Listener) {
		if l, wants := l.(harness.LossListener); wants {
			l.Lost(from, to)
		}
	})
}

// lacks says that the track is without an ability, as an error of those who ask for it all the same.
func (t *probedTrack) lacks(a harness.Ability) error {
	d := t.rig.Describe()
	if d.Can(t.name, a) {
		return nil
	}
	why := "the probe has nothing for it"
	if reason := d.Reasons[t.name][a]; reason != "" {
		why = reason
	}
	return fmt.Errorf("bench rig: %w: no %q on the %s track: %s", harness.ErrBeyond, a, t.name, why)
}

// Fit lays a fake decoder across the rails. Its demand is drawn by the load, in steps of that, and later by the loop time
// of the rig, which is taken off the delay of its acknowledges as far as that goes. So that no acknowledge is weaker than it was
// asked for, its amplitude is rounded up to whole steps, and the quiescent current that it adds to is rounded to them.
func (t *probedTrack) Fit(c fakedecoder.Config) (*fakedecoder.Decoder, error) {
	if err := t.lacks(harness.FitDecoder); err != nil {
		return nil, err
	}
	c.Lead = t.rig.lag
	step := t.playout.load.step
	c.Quiescent = steps(math.Round(inAmperes(c.Quiescent)/step), step)
	c.Acknowledge.Amplitude = steps(math.Ceil(inAmperes(c.Acknowledge.Amplitude)/step-1e-6), step)
	if least := inAmperes(c.Quiescent + c.Acknowledge.Amplitude); least > t.most()+step/2 {
		return nil, t.beyond(c.Quiescent+c.Acknowledge.Amplitude, "an acknowledge")
	}
	var answers *reflex
	if t.rig.slow != "" {
		var err error
		if answers, err = t.reflexes(&c); err != nil {
			return nil, err
		}
	}
	d, err := fakedecoder.New(c)
	if err != nil {
		return nil, err
	}
	if answers != nil {
		answers.decoder, t.reflex = d, answers
	}
	d.Edge(signal.Edge{Time: t.rig.now, Level: t.level})
	t.playout.add(newDecoderSource(d))
	t.playout.complete(t.rig.now)
	t.changed = t.rig.now + t.rig.lag
	return d, t.rig.fault
}

func steps(n, step float64) physic.ElectricCurrent {
	return physic.ElectricCurrent(math.Round(n * step * float64(physic.Ampere)))
}

// most is the greatest load, in amperes.
func (t *probedTrack) most() float64 { return float64(t.playout.load.top) * t.playout.load.step }

func (t *probedTrack) beyond(i physic.ElectricCurrent, what string) error {
	return fmt.Errorf("bench rig: %w: %s of %v on the %s track, where the load goes up to %v", harness.ErrBeyond, what, i, t.name,
		steps(float64(t.playout.load.top), t.playout.load.step))
}

// Short closes the switch across the rails. It has the resistance that it has, and stands for every dead short, which is one of up
// to 1 Ω: one that was asked for with 100 mΩ is laid with the 60 mΩ of a switch, or with its 150 mΩ. Neither makes a difference that a
// requirement looks at, since what limits the current of a dead short are the station and its supply. A greater resistance is a
// load of its own, and this switch none for it.
func (t *probedTrack) Short(r physic.ElectricResistance) error {
	switch {
	case r <= 0:
		return fmt.Errorf("a short of %v on the %s track, want more than 0 Ω", r, t.name)
	case t.lacks(harness.LayShort) != nil:
		return t.lacks(harness.LayShort)
	case r > deadShort:
		return fmt.Errorf("bench rig: %w: a short of %v on the %s track, where the switch has %v", harness.ErrBeyond, r, t.name, t.rating.Short())
	}
	most := time.Duration(t.rating.ShortMostMs) * time.Millisecond
	return t.does(func(ctx context.Context) (time.Duration, error) { return t.rig.hands.Short(ctx, t.id, true, most) })
}

// does has the probe do something and notes when it took effect.
func (t *probedTrack) does(do func(ctx context.Context) (time.Duration, error)) error {
	at, err := t.rig.command(do)
	t.changed = at
	return err
}

// Load draws a steady current, in whole steps of the load, while the track has voltage.
func (t *probedTrack) Load(i physic.ElectricCurrent) error {
	switch {
	case i < 0:
		return fmt.Errorf("a load of %v on the %s track, want 0 A or more", i, t.name)
	case t.lacks(harness.LayLoad) != nil:
		return t.lacks(harness.LayLoad)
	}
	level, clipped := t.playout.load.level(inAmperes(i))
	if clipped {
		return t.beyond(i, "a load")
	}
	if !t.playout.idle() { // it joins what the decoders draw
		t.playout.setBase(inAmperes(i))
		return t.played()
	}
	err := t.does(func(ctx context.Context) (time.Duration, error) {
		return t.rig.hands.Load(ctx, t.id, probe.LoadProfile{Now: true, Steps: []probe.LoadStep{{Level: level}}})
	})
	t.playout.reset(inAmperes(i))
	return err
}

// played waits until what was added to the playout is on the rails.
func (t *probedTrack) played() error {
	t.playout.complete(t.rig.now)
	t.changed = t.rig.now + t.rig.lag
	ctx, cancel := context.WithTimeout(context.Background(), answerLimit+t.rig.lag)
	defer cancel()
	if err := t.rig.until(ctx, t.changed); err != nil {
		return fmt.Errorf("bench rig: %w: %w", harness.ErrRig, err)
	}
	return t.rig.fault
}

// Inrush connects a discharged capacitor: the load follows the exponential in its steps.
func (t *probedTrack) Inrush(peak physic.ElectricCurrent, tau time.Duration) error {
	switch {
	case peak < 0 || tau <= 0:
		return fmt.Errorf("an inrush of %v with a time constant of %v on the %s track, want 0 A or more and more than 0 s", peak, tau, t.name)
	case t.lacks(harness.LayInrush) != nil:
		return t.lacks(harness.LayInrush)
	}
	if _, clipped := t.playout.load.level(inAmperes(peak)); clipped {
		return t.beyond(peak, "an inrush")
	}
	t.playout.add(&capacitor{peak: inAmperes(peak), tau: tau, since: t.rig.now, waiting: t.level == signal.Off})
	return t.played()
}

// Open takes everything off the rails.
func (t *probedTrack) Open() error {
	if t.rig.hands == nil {
		return nil
	}
	hands := t.rig.hands
	loaded := !t.playout.idle() || t.playout.base > 0
	// Nothing of the decoders may come after it: they hear on while it is done.
	t.playout.reset(0)
	err := t.does(func(ctx context.Context) (at time.Duration, err error) {
		// The short first: it is what heats. What follows is done whether or not that was.
		if t.rating.ShortMilliohms > 0 {
			at, err = hands.Short(ctx, t.id, false, 0)
		}
		if t.reflex != nil {
			err = errors.Join(err, t.arm(ctx, nil))
		}
		if t.rig.hello.Has(probe.HasLoad) && t.rating.LoadTop > 0 {
			off, failed := hands.Load(ctx, t.id, probe.LoadProfile{Now: true, Steps: []probe.LoadStep{{}}})
			err = errors.Join(err, failed)
			if loaded || t.rating.ShortMilliohms == 0 {
				at = max(at, off) // else it was the short, if anything, and what follows its end is timed from there
			}
		}
		return at, err
	})
	t.taken()
	return err
}

// taken notes that nothing is across the rails any more.
func (t *probedTrack) taken() {
	t.playout.reset(0)
	t.reflex = nil
}
