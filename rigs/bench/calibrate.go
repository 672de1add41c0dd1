package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/calibration"
	"bufferstop/harness/current"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"periph.io/x/conn/v3/physic"
)

// errNotWithThis says that a probe has nothing to calibrate.
var errNotWithThis = errors.New("bench rig: this probe has nothing of its own to calibrate")

// ProbeIdentity follows calibration.Calibratable.
func (p *probed) ProbeIdentity() calibration.Probe {
	h := &p.hello
	who := calibration.Probe{Name: h.Name, Serial: h.Serial, Clock: float64(h.Clock), SampleInterval: p.sampleInterval,
		CaptureOnly: p.hands == nil, Late: p.late}
	for _, t := range p.tracks {
		if t == nil {
			continue
		}
		c := calibration.Channel{Track: t.name, Zero: t.rating.SenseZero, Full: t.rating.SenseFull}
		if h.Has(probe.SeesCurrent) {
			c.PerCount = float64(t.rating.SenseMicroamps) / 1e6
		}
		if h.Has(probe.HasLoad) {
			c.PerStep, c.Top, c.Continuous = float64(t.rating.LoadMicroamps)/1e6, t.rating.LoadTop, t.rating.LoadContinuous
		}
		who.Channels = append(who.Channels, c)
	}
	return who
}

// CalibrationPath follows calibration.Calibratable.
func (p *probed) CalibrationPath() string { return p.calibrationPath }

// Sync follows calibration.Calibratable.
func (p *probed) Sync(ctx context.Context) (calibration.SyncPair, error) {
	if p.hands == nil {
		return calibration.SyncPair{}, errNotWithThis
	}
	if err := p.refresh(ctx); err != nil {
		return calibration.SyncPair{}, err
	}
	point, err := p.hands.Sync(ctx)
	return calibration.SyncPair{Sent: point.Sent, Received: point.Received, Probe: point.Probe}, err
}

// watched gives what a track shows in a while to l.
func (p *probed) watched(ctx context.Context, track station.Track, over time.Duration, l func(t *probedTrack) harness.Listener) error {
	t, _ := p.Track(track).(*probedTrack)
	if t == nil {
		return fmt.Errorf("bench rig: the probe does not watch the %s track", track)
	}
	if err := p.refresh(ctx); err != nil {
		return err
	}
	stop := t.Listen(l(t))
	defer stop()
	return p.until(ctx, p.now+over)
}

// A counting makes counts of the converter of samples.
type counting struct {
	track  *probedTrack
	counts []uint16
}

func (*counting) Edges([]signal.Edge) {}

func (c *counting) Samples(samples []current.Sample) {
	t := c.track
	zero, gain, known := t.rig.calibration.Current(t.name)
	if !known {
		zero = float64(t.rating.SenseZero)
	}
	for _, s := range samples {
		n := math.Round(float64(s.Current)/(float64(t.rating.PerCount())*gain) + zero)
		c.counts = append(c.counts, uint16(min(max(n, 0), float64(t.rating.SenseFull))))
	}
}

// RawCurrent follows calibration.Calibratable.
func (p *probed) RawCurrent(ctx context.Context, track station.Track, over time.Duration) ([]uint16, error) {
	var c counting
	err := p.watched(ctx, track, over, func(t *probedTrack) harness.Listener {
		c.track = t
		return &c
	})
	return c.counts, err
}

// A spanning makes times between edges of edges.
type spanning struct {
	ppm   float64
	last  signal.Edge
	known bool // the edge before was one
	begun bool // the first tells only what is
	spans []calibration.Span
}

func (s *spanning) Edges(edges []signal.Edge) {
	for _, e := range edges {
		if s.known && e.Level != signal.Off && s.last.Level != signal.Off && e.Level != s.last.Level {
			length := float64(e.Time-s.last.Time) / (1 + s.ppm/1e6)
			s.spans = append(s.spans, calibration.Span{Length: time.Duration(math.Round(length)), Positive: s.last.Level == signal.Positive})
		}
		s.known = s.begun
		s.begun, s.last = true, e
	}
}

func (s *spanning) Samples([]current.Sample) {}

// Lost leaves out what adjoins a lost stretch: the first edge after it tells only what is.
func (s *spanning) Lost(time.Duration, time.Duration) { s.known, s.begun = false, false }

// Spans follows calibration.Calibratable.
func (p *probed) Spans(ctx context.Context, track station.Track, over time.Duration) ([]calibration.Span, error) {
	s := spanning{ppm: p.calibration.PPM()}
	err := p.watched(ctx, track, over, func(*probedTrack) harness.Listener { return &s })
	return s.spans, err
}

// Draw follows calibration.Calibratable.
func (p *probed) Draw(ctx context.Context, track station.Track, level uint16) error {
	t, _ := p.Track(track).(*probedTrack)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case t == nil || p.hands == nil || t.rating.LoadTop == 0:
		return fmt.Errorf("bench rig: no load on the %s track", track)
	case level > t.rating.LoadTop:
		return fmt.Errorf("bench rig: %w: level %d on the %s track, where the load has %d", harness.ErrBeyond, level, track, t.rating.LoadTop)
	}
	err := t.does(func(ctx context.Context) (time.Duration, error) {
		return p.hands.Load(ctx, t.id, probe.LoadProfile{Now: true, Steps: []probe.LoadStep{{Level: level}}})
	})
	t.playout.reset(float64(level) * t.playout.load.step)
	return err
}

// LoopLimit follows calibration.Calibratable.
func (p *probed) LoopLimit() time.Duration { return loopLimit }

const (
	// loopPulse is the pulse by which the loop is measured: several samples long. loopPause is what lies between two.
	loopPulse = 6 * time.Millisecond
	loopPause = 25 * time.Millisecond
	// loopPatience is how long one is waited for.
	loopPatience = time.Second
)

// A looping looks for the end of a packet, then for the rise of the current.
type looping struct {
	receiver *signal.Receiver
	packet   time.Duration // end of the newest
	above    physic.ElectricCurrent
	rose     time.Duration // the first sample above, since armed
	armed    bool
}

func (l *looping) Edges(edges []signal.Edge) { l.receiver.Edges(edges) }

func (l *looping) Samples(samples []current.Sample) {
	for _, s := range samples {
		if l.armed && l.rose == 0 && s.Current > l.above {
			l.rose = s.Time
		}
	}
}

func (l *looping) Packet(p *signal.Packet)  { l.packet = p.End }
func (l *looping) Unusable(signal.Unusable) {}

// LoopTimes follows calibration.Calibratable. Each time is from the end of a packet to the sample in which the load of a pulse shows that the
// host has asked for when it heard of the packet, without the delay by which a playout makes all of them alike. The sample is up to
// its interval later than the current.
func (p *probed) LoopTimes(ctx context.Context, track station.Track, n int) (times []time.Duration, err error) {
	t, _ := p.Track(track).(*probedTrack)
	if t == nil || p.hands == nil || t.rating.LoadTop == 0 {
		return nil, fmt.Errorf("bench rig: no load on the %s track", track)
	}
	defer func() { err = errors.Join(err, t.Open()) }()
	l := &looping{}
	l.receiver = signal.NewReceiver(signal.DecoderReading(), l)
	if err := p.refresh(ctx); err != nil {
		return nil, err
	}
	stop := t.Listen(l)
	defer stop()
	var meter current.Meter
	cancel := t.Listen(metering{&meter})
	err = p.until(ctx, p.now+loopPause)
	cancel()
	if err != nil {
		return nil, err
	}
	// The pulse of an ordinary acknowledge, seen when half of it is there.
	level, _ := t.playout.load.level(inAmperes(fakedecoder.Default().Acknowledge.Amplitude))
	l.above = meter.Mean() + steps(float64(level)/2, t.playout.load.step)
	for len(times) < n {
		// What came until now is old: the packet has to be one that the host hears of as it comes.
		heard := l.packet
		for end := p.now + loopPatience; l.packet == heard; {
			if p.now > end {
				return times, fmt.Errorf("bench rig: no packet on the %s track in %v", track, loopPatience)
			}
			if err := p.pump(ctx, loopPause); err != nil {
				return times, err
			}
		}
		l.armed, l.rose = true, 0
		from := l.packet
		if err := p.hands.Post(t.id, probe.LoadProfile{Now: true, Steps: []probe.LoadStep{{Level: level, Hold: loopPulse}, {}}}); err != nil {
			return times, err
		}
		for end := p.now + loopPatience; l.rose == 0; {
			if p.now > end {
				return times, fmt.Errorf("bench rig: no current on the %s track %v after the load was told to draw %v", track, loopPatience, steps(float64(level), t.playout.load.step))
			}
			if err := p.pump(ctx, loopPause); err != nil {
				return times, err
			}
		}
		times = append(times, l.rose-from)
		l.armed = false
		if err := p.until(ctx, p.now+loopPause); err != nil {
			return times, err
		}
	}
	return times, nil
}

// metering gives samples to a meter.
type metering struct{ *current.Meter }

func (metering) Edges([]signal.Edge) {}
