package bench

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/current"
	"bufferstop/harness/link"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/rigs/rails"
	"bufferstop/rigs/serving"
	"bufferstop/rigs/simulated"
	"bufferstop/rigs/wire"

	"periph.io/x/conn/v3/physic"
)

// A box is a simulated bench whose station and whose probe are served at a pseudo-terminal each, in step with the wall clock and in a
// goroutine of its own: from outside it is a real bench. Two links, their threads and their delays are real; that the far ends
// are software nobody can tell.
type box struct {
	world   *simulated.Rig
	device  *probe.Device
	station serving.Port
	probe   serving.Port
	tracks  [probe.MaxTracks]*boxTrack
	unsent  []byte // by the probe
	cancel  context.CancelFunc
	ended   chan struct{}
	failure error

	mu sync.Mutex
	// shorts are what the switches have done, for tests.
	shorts []shorting
}

// A shorting is one change of a switch across the rails.
type shorting struct {
	track int
	on    bool
	at    time.Duration // on the clock of the box
}

// A boxTrack is a track of the box, between the station and the probe.
type boxTrack struct {
	harness.Track
	id    int
	edges []signal.Edge // for the device, but for the first fed of them
	fed   int
	now   physic.ElectricCurrent // what flows
	level uint16                 // of the load
	step  physic.ElectricCurrent
}

// boxHello is the probe of a box: that of the firmware for both tracks (rigs/bench/probe), by its figures.
func boxHello() probe.Hello {
	track := func(id uint8, sense, load uint32, continuous uint16) probe.TrackHello {
		return probe.TrackHello{
			ID: id, SenseMicroamps: sense, SenseFull: 1023,
			LoadMicroamps: load, LoadTop: 255, LoadContinuous: continuous, LoadBriefMs: 5000,
			ShortMilliohms: uint16(boxShort / physic.MilliOhm), ShortMostMs: 30_000,
			ThresholdMillivolts: 4000, OffDelay: 160, // 10 µs
		}
	}
	return probe.Hello{
		Clock: 16_000_000, Firmware: 0x0100, Serial: 1, Name: "probe in a box",
		Features: probe.SeesEdges | probe.SeesOff | probe.SeesCurrent | probe.HasLoad | probe.HasShort | probe.HasSupply |
			probe.HasReflex,
		CommandBuffer: 1024, LoadQueue: 32, ReflexRules: 12,
		Tracks: []probe.TrackHello{
			track(probe.Main, 4888, 20_000, 50),
			track(probe.Programming, 1222, 4_000, 125),
		},
	}
}

const (
	// boxShort is the resistance of the switches of a box.
	boxShort = 60 * physic.MilliOhm
	// boxSent is how many bytes wait for a host that does not read; more are lost.
	boxSent = 64 << 10
	// heldUp is from when on a round of the box tells that the machine was busy with something else, or gave this process no
	// time. It held up the host as well, which is here too: the time does not count, else it would be the host's alone.
	heldUp = 6 * time.Millisecond
)

// openBox opens a bench with a station and a probe inside.
func openBox(ctx context.Context, f *File, file *station.File, o Options) (_ harness.Rig, err error) {
	b := &box{ended: make(chan struct{})}
	b.world, err = simulated.New(simulated.Options{Name: f.Name, Seed: o.Seed, Defect: o.Defect, Dialect: file.Dialect,
		// The device has a clock and a converter of its own.
		Probe: rails.Probe{Clock: physic.GigaHertz, Noise: time.Nanosecond, SampleInterval: 250 * time.Microsecond, CurrentNoise: physic.MilliAmpere}})
	if err != nil {
		return nil, err
	}
	if b.station, err = f.serve(func(serving.Notice) {}); err != nil {
		return nil, fmt.Errorf("bench rig: the station inside: %w", err)
	}
	if b.probe, err = serving.PTY(f.ProbeServedAt(), func(serving.Notice) {}); err != nil {
		return nil, errors.Join(fmt.Errorf("bench rig: the probe inside: %w", err), b.station.Close())
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, b.Close())
		}
	}()
	b.connect()
	life, cancel := context.WithCancel(context.Background())
	b.cancel = cancel
	go b.live(life)

	served := b.station.Address()
	if f.Inside.Serve == serveRFC2217 {
		served = link.Address{}
	}
	address, err := f.address(file, o, served)
	if err == nil && o.Claim != nil {
		err = o.Claim(f.identities(served, address)...)
	}
	if err != nil {
		return nil, err
	}
	eyes, err := f.ProbeAddress()
	if err != nil {
		return nil, err
	}
	if eyes == (link.Address{}) {
		eyes = b.probe.Address()
	}
	opened, err := f.openReal(ctx, file, o, address, eyes)
	if err != nil {
		return nil, err
	}
	rig := opened.(*ProbedRig)
	rig.box = b
	return rig, nil
}

// connect lays the probe across the tracks.
func (b *box) connect() {
	hello := boxHello()
	b.device = probe.NewDevice(probe.DeviceConfig{
		Hello:    hello,
		Current:  func(track int, _ time.Duration) physic.ElectricCurrent { return b.tracks[track].now },
		OnLoad:   func(track int, level uint16, _ time.Duration) { b.tracks[track].draw(level) },
		OnShort:  b.short,
		OnSupply: b.supply,
	})
	for i := range hello.Tracks {
		h := &hello.Tracks[i]
		t := &boxTrack{Track: b.world.Track(trackNames[h.ID]), id: int(h.ID), step: h.PerStep()}
		b.tracks[h.ID] = t
		t.Listen(t)
	}
	b.world.Line().World = b
}

func (t *boxTrack) Edges(edges []signal.Edge) { t.edges = append(t.edges, edges...) }

// feed gives the device what happened on the tracks, in order of time.
func (b *box) feed() {
	for {
		var first *boxTrack
		for _, t := range b.tracks {
			if len(t.edges) > t.fed && (first == nil || t.edges[t.fed].Time < first.edges[first.fed].Time) {
				first = t
			}
		}
		if first == nil {
			break
		}
		e := first.edges[first.fed]
		first.fed++
		b.device.Edge(first.id, e.Time, e.Level)
	}
	for _, t := range b.tracks {
		t.edges, t.fed = t.edges[:0], 0
	}
}

func (t *boxTrack) Samples(samples []current.Sample) {
	if len(samples) > 0 {
		t.now = samples[len(samples)-1].Current
	}
}

// draw sets the load. Only a rig that is closed refuses.
func (t *boxTrack) draw(level uint16) {
	t.level = level
	_ = t.Load(physic.ElectricCurrent(level) * t.step)
}

func (b *box) short(track int, on bool, at time.Duration) {
	t := b.tracks[track]
	if on {
		_ = t.Short(boxShort)
	} else {
		_ = t.Open()
		t.draw(t.level)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.shorts = append(b.shorts, shorting{track, on, at})
}

// switched is what the switches across the rails have done so far.
func (b *box) switched() []shorting {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.shorts)
}

// supply takes the station's supply away; a simulated one has it back after half a second in any case.
func (b *box) supply(on bool, _ time.Duration) {
	if !on {
		_, _ = b.world.CutSupply()
	}
}

// Now is the time of the box.
func (b *box) Now() time.Duration { return b.world.Now() }

// Advance lets world and probe run in step: what the probe does by itself happens at its time.
func (b *box) Advance(ctx context.Context, to time.Duration, _ bool) error {
	for b.world.Now() < to {
		next := to
		if t, ok := b.device.Next(); ok {
			next = min(next, max(t, b.world.Now()))
		}
		if err := b.world.Advance(ctx, next, false); err != nil {
			return err
		}
		b.feed()
		b.device.Advance(next)
	}
	return nil
}

// live lets the box run in step with the wall clock until ctx ends.
func (b *box) live(ctx context.Context) {
	defer close(b.ended)
	pacer := wire.NewPacer(b.world.Line(), pulled{b.station})
	port := pulled{b.probe}
	var said [1024]byte
	for last := time.Now(); ctx.Err() == nil; last = time.Now() {
		if err := pacer.Step(ctx, endless); err != nil && ctx.Err() == nil {
			b.failure = err
			return
		}
		n, _ := port.Read(ctx, said[:], 0)
		b.device.Receive(said[:n])
		if b.unsent = append(b.unsent, b.device.Sent()...); len(b.unsent) > boxSent {
			b.unsent = b.unsent[:0] // as a serial port loses what nobody takes; in whole, so that memory is bounded
		}
		if len(b.unsent) > 0 {
			n, _ := port.Write(ctx, b.unsent, 0)
			b.unsent = b.unsent[:copy(b.unsent, b.unsent[n:])]
		}
		if time.Since(last) > heldUp {
			pacer.Resume()
		}
	}
}

// Close ends the box. A second Close does nothing.
func (b *box) Close() error {
	if b.cancel == nil {
		return errors.Join(b.station.Close(), b.probe.Close())
	}
	b.cancel()
	<-b.ended
	return errors.Join(b.failure, b.station.Close(), b.probe.Close(), b.world.Close())
}

// A pulled is the far end of a link as a station or a probe has it: when the cable is pulled, it goes on.
type pulled struct{ serving.Port }

func (p pulled) Read(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	n, err := p.Port.Read(ctx, b, timeout)
	if errors.Is(err, link.ErrClosed) {
		time.Sleep(max(timeout, time.Millisecond))
		return n, link.ErrTimeout
	}
	return n, err
}

func (p pulled) Write(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	n, err := p.Port.Write(ctx, b, timeout)
	if errors.Is(err, link.ErrClosed) {
		return len(b), nil
	}
	return n, err
}
