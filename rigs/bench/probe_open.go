package bench

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"bufferstop/harness/calibration"
	"bufferstop/harness/link"
	"bufferstop/harness/probe"
)

// probeComesBack is how long the link to a probe may take to come back: shorter than that of a station, since all that was
// laid across the rails is gone by then, and what is measured meanwhile is of no use. Our own choice.
const probeComesBack = 2 * time.Second

// ProbeAddress says where the probe with a link of bytes is, relative to the rig file; the zero value for one that can only look,
// and for none.
func (f *File) ProbeAddress() (link.Address, error) {
	if f.Probe == nil || f.Probe.Link == "" || looksOnly(f.Probe.Link) {
		return link.Address{}, nil
	}
	address, err := link.ParseAddress(f.Probe.Link)
	return address.In(f.Folder), err
}

// Streams reports whether the rig has a probe with a raw stream that can be recorded. An analyser has none, and a capture is one
// already.
func (f *File) Streams() bool { return f.Probe != nil && !looksOnly(f.Probe.Link) }

// ProbeServedAt is the path of the symbolic link to the pseudo-terminal of a probe inside; empty where there is none.
func (f *File) ProbeServedAt() string {
	if f.Inside == nil || f.Probe == nil || f.Inside.Probe == "" {
		return ""
	}
	return beside(f.Folder, f.Inside.Probe)
}

// ProbeIdentities name what no two runs may use at once: the device of the probe, or the analyser. A capture file may be read by
// many, and the pseudo-terminal of a probe inside is known to nobody else.
func (f *File) ProbeIdentities() ([]string, error) {
	switch {
	case f.Probe == nil || f.Probe.Link == "":
		return nil, nil
	case looksOnly(f.Probe.Link):
		return eyesIdentity(f.Probe.Link), nil
	}
	address, err := f.ProbeAddress()
	return []string{address.Identity()}, err
}

// openProbe opens the probe at the address, which may be that of a probe inside, and waits for the first that it tells.
func (f *File) openProbe(ctx context.Context, address link.Address, o Options) (_ *probed, err error) {
	p := &probed{
		calibrationPath: f.Probe.Calibration, sampleInterval: f.Probe.SampleInterval, stretch: f.Probe.Stretch,
		supplyOff: f.Probe.SupplyOff, starts: f.Probe.Starts, progress: time.Now(),
	}
	kept, err := calibration.Load(f.Probe.Calibration)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	p.kept = kept
	// The calibration is taken for that of this probe until it has said who it is.
	p.calibration = kept
	if err := f.see(ctx, p, address, o); err != nil {
		return nil, err
	}
	if p.calibration = kept.For(p.ProbeIdentity()); p.calibration == nil && kept != nil {
		if err := p.eyes.Close(); err != nil {
			return nil, err
		}
		if err := f.see(ctx, p, address, o); err != nil {
			return nil, err
		}
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, p.Close())
		}
	}()
	p.rate(f.Probe)
	if err := p.begin(ctx); err != nil {
		return nil, err
	}
	return p, nil
}

// see opens what sees the tracks.
func (f *File) see(ctx context.Context, p *probed, address link.Address, o Options) (err error) {
	p.hands = nil
	if looksOnly(f.Probe.Link) {
		p.eyes, err = openEyes(ctx, f.Probe.Link, f.Folder)
	} else {
		client, failed := probe.Open(ctx, link.Reopening(address.Open, probeComesBack), p.probeOptions(f.Probe, o))
		p.eyes, p.hands, err = client, client, failed
	}
	if err != nil {
		return fmt.Errorf("bench rig: the probe: %w", err)
	}
	p.hello = p.eyes.Hello()
	p.tracks = [probe.MaxTracks]*probedTrack{}
	for _, t := range p.hello.Tracks {
		if int(t.ID) < len(p.tracks) {
			p.tracks[t.ID] = &probedTrack{rig: p, name: trackNames[t.ID], id: int(t.ID), rating: t}
		}
	}
	return nil
}

// probeOptions are those of the client.
func (p *probed) probeOptions(f *Probe, o Options) probe.Options {
	options := probe.Options{Record: o.Record, Stretch: f.Stretch, SampleInterval: f.SampleInterval, PPM: p.calibration.PPM()}
	for id, name := range trackNames {
		if zero, gain, known := p.calibration.Current(name); known {
			options.Corrections[id] = probe.Correction{Gain: gain, Zero: zero}
		}
	}
	return options
}

// rate makes the playouts of the loads.
func (p *probed) rate(f *Probe) {
	p.lag = f.LoopTime
	for _, t := range p.tracks {
		if t == nil {
			continue
		}
		// A probe without a load has a playout all the same, with nothing to lay.
		rating := loadRating{step: 1, queue: int(p.hello.LoadQueue)}
		if p.hands != nil && p.hello.Has(probe.HasLoad) && t.rating.LoadMicroamps > 0 {
			rating.step = float64(t.rating.LoadMicroamps) / 1e6 * p.calibration.LoadGain(t.name)
			rating.top = t.rating.LoadTop
		}
		t.playout = newPlayout(rating, p.lag, func(at time.Duration, f profile) {
			if err := p.hands.Post(t.id, probe.LoadProfile{At: at, Behind: !f.replace, Steps: f.steps}); err != nil {
				p.mishaps.Refused++
			}
		})
	}
}

// begin waits for the first that the probe tells, and finds out how long the loop is.
func (p *probed) begin(ctx context.Context) error {
	for p.now == 0 {
		if err := p.pump(ctx, 100*time.Millisecond); err != nil {
			return err
		}
	}
	if p.hands == nil {
		p.late = max(p.late, heldUpWaiting+heldUpWriting)
		return nil
	}
	// Whoever had the probe a moment ago may have died with the station's supply cut, and the probe has not been left alone for long
	// enough to give it back by itself.
	if err := p.Safe(); err != nil {
		return err
	}
	trip, err := p.roundTrip(ctx)
	if err != nil {
		return err
	}
	// A stretch is told when it is over, and what keeps the host longer counts as held up.
	p.late = trip + p.stretch + heldUpWriting
	if !p.hello.Has(probe.HasLoad) {
		return nil
	}
	if p.lag == 0 {
		p.lag = p.loop(trip)
	}
	for _, t := range p.tracks {
		if t != nil {
			t.playout.lag = p.lag
		}
	}
	p.slow = judgeLoop(p.lag)
	return nil
}

// loop is the playout delay by the calibration, or by how long the way to the probe and back takes.
func (p *probed) loop(trip time.Duration) time.Duration {
	longest := time.Duration(0)
	for _, t := range p.tracks {
		if t != nil {
			if loop := p.calibration.Loop(t.name); loop != nil {
				longest = max(longest, loop.P99)
			}
		}
	}
	if longest > 0 {
		return ordinaryLoop(longest, 0)
	}
	return ordinaryLoop(trip, p.stretch)
}

// roundTrip is how long the way to the probe and back takes: what nine in ten questions for its time do.
func (p *probed) roundTrip(ctx context.Context) (time.Duration, error) {
	var trips []time.Duration
	for range loopQuestions {
		pair, err := p.Sync(ctx)
		if err != nil {
			return 0, fmt.Errorf("bench rig: asking the probe for its time: %w", err)
		}
		trips = append(trips, pair.Received-pair.Sent)
	}
	slices.Sort(trips)
	return trips[len(trips)*9/10-1], nil
}
