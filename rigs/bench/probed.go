package bench

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/calibration"
	"bufferstop/harness/current"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
)

// Hands are what a probe can do besides seeing.
type Hands interface {
	probe.Source
	Load(ctx context.Context, track int, p probe.LoadProfile) (time.Duration, error)
	Post(track int, p probe.LoadProfile) error
	Short(ctx context.Context, track int, on bool, most time.Duration) (time.Duration, error)
	Supply(ctx context.Context, on bool) (time.Duration, error)
	Reflex(ctx context.Context, track int, r probe.ReflexRule) error
	ClearReflex(ctx context.Context, track, rule int) error
	Safe(ctx context.Context) (time.Duration, error)
	Sync(ctx context.Context) (probe.SyncPoint, error)
}

var _ Hands = (*probe.Client)(nil)

// A probed side is a bench whose tracks a probe watches. Its clock is the probe's: the time up to which the probe has told
// all that happened. It moves only while somebody waits on the rig or its link, though that of the probe runs on: what the
// harness has not waited for yet it does not know. When the probe is lost, the wall clock goes on in its place, so that
// nobody who waits for the station hangs.
type probed struct {
	eyes   probe.Source
	hands  Hands // nil for a probe that can only look
	hello  probe.Hello
	tracks [probe.MaxTracks]*probedTrack
	lag    time.Duration
	// late bounds how far now may be behind the present time of the probe.
	late time.Duration
	// slow is why the loop is too slow for a fake decoder, empty when it is not.
	slow string

	stretch           time.Duration
	sampleInterval    time.Duration
	calibration       *calibration.File // of this probe, or nil
	kept              *calibration.File // as it was read, of whichever probe
	calibrationPath   string
	supplyOff, starts time.Duration

	now      time.Duration
	progress time.Time // on the wall, when that last moved
	fault    error
	lostAt   time.Time
	mishaps  harness.Mishaps // those that are counted here
	// noted is how many notes of the probe were told at the beginning.
	noted int
	// asked says that somebody has just wanted to know the present time, as a Wait of no time tells.
	asked bool
	// rulesGone is how often the rules of the reflex went with the host's silence.
	rulesGone int
	closed    bool
}

// trackNames are the tracks by the ids of the protocol.
var trackNames = [probe.MaxTracks]station.Track{probe.Main: station.Main, probe.Programming: station.Programming}

const (
	// stalled is how long a probe may tell nothing, on the wall, before it counts as lost. A client finds out sooner; others
	// have nobody that does. Our own choice.
	stalled = 15 * time.Second
	// answerLimit is how long a command may take: longer than a probe takes to come back or to be given up. The client has a limit
	// of its own; this is for what hangs beneath it.
	answerLimit = 5 * time.Second
	// heldUpWaiting and heldUpWriting are from when on the host counts as held up: so much of the probe's time has passed between
	// two looks at the stream while somebody waited, and between asking what time it is and a command to the station, as those do who measure
	// how long it takes. A probe that tells in pieces of 4 ms over an adapter that gathers for 16 ms
	// (common practice, no source) stays below the first. Our own choice.
	heldUpWaiting = 25 * time.Millisecond
	heldUpWriting = 5 * time.Millisecond
)

// probeLost words the end of a probe.
func probeLost(err error) error {
	if errors.Is(err, io.EOF) {
		return fmt.Errorf("bench rig: %w: the capture that stands for the probe is over: %w", harness.ErrRig, err)
	}
	return fmt.Errorf("bench rig: %w: the probe is lost: %w", harness.ErrRig, err)
}

// Edges takes what the probe has seen.
func (p *probed) Edges(track int, edges []signal.Edge) {
	if t := p.track(track); t != nil {
		t.edges(edges)
	}
}

// Samples takes what the probe has measured.
func (p *probed) Samples(track int, samples []current.Sample) {
	if t := p.track(track); t != nil {
		t.tell(func(l harness.Listener) { l.Samples(samples) })
	}
}

// Lost takes what the probe has not seen.
func (p *probed) Lost(track int, from, to time.Duration) {
	if t := p.track(track); t != nil {
		t.lost(from, to)
	}
}

// Complete takes up to when all is known.
func (p *probed) Complete(until time.Duration) {
	if until <= p.now {
		return
	}
	p.now = until
	for _, t := range p.tracks {
		if t != nil {
			t.playout.complete(until)
		}
	}
}

// Event takes what happened in the probe.
func (p *probed) Event(e probe.Event) {
	switch e.What {
	case probe.ShortOpenedSilent, probe.ShortOpenedTime, probe.LoadOffSilent, probe.LoadOffRating:
		p.mishaps.Opened++
	case probe.ReflexesOffSilent:
		p.mishaps.Opened++
		p.rulesGone++
	}
}

func (p *probed) track(id int) *probedTrack {
	if id < 0 || id >= len(p.tracks) {
		return nil
	}
	return p.tracks[id]
}

// Now is the time up to which the probe has told all.
func (p *probed) Now() time.Duration {
	if p.fault != nil {
		return p.now + time.Since(p.lostAt)
	}
	return p.now
}

// fail notes that the probe is lost.
func (p *probed) fail(err error) error {
	if p.fault == nil {
		p.fault, p.lostAt = probeLost(err), time.Now()
	}
	return p.fault
}

// pump takes what the probe tells, waiting up to wait for it.
func (p *probed) pump(ctx context.Context, wait time.Duration) error {
	if p.fault != nil {
		return p.fault
	}
	before := p.now
	_, err := p.eyes.Pump(ctx, wait, p)
	if wait > 0 {
		p.came(p.now - before)
	}
	switch {
	case p.now > before:
		p.progress = time.Now()
	case ctx.Err() != nil:
		return ctx.Err()
	case err == nil && time.Since(p.progress) > stalled:
		err = fmt.Errorf("it has told nothing for %v", stalled)
	}
	if err != nil && (ctx.Err() == nil || !errors.Is(err, ctx.Err())) {
		return p.fail(err)
	}
	return nil
}

// came notes how much the probe told at once while somebody waited. One with a stream tells a little at a time, unless the host did
// not look. An analyser gathers, some for a tenth of a second: what it does is no mishap, but so late the host knows of the track.
func (p *probed) came(piece time.Duration) {
	switch {
	case p.hands == nil:
		p.late = max(p.late, piece+heldUpWriting)
	case piece > heldUpWaiting:
		p.mishaps.HeldUp++
	}
}

// refresh takes what has come meanwhile, and lays what the fake decoders were told since.
func (p *probed) refresh(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, t := range p.tracks {
		if t != nil && p.fault == nil {
			t.playout.complete(p.now)
		}
	}
	return p.pump(ctx, 0)
}

// Wait lets d of the probe's time pass: when it returns without an error, all is known that happened until then. It may be
// more, since a probe tells in pieces.
func (p *probed) Wait(ctx context.Context, d time.Duration) error {
	if err := p.refresh(ctx); err != nil {
		return err
	}
	p.asked = d <= 0
	return p.until(ctx, p.now+max(d, 0))
}

// until waits until all is known up to t.
func (p *probed) until(ctx context.Context, t time.Duration) error {
	for p.now < t {
		if err := p.pump(ctx, t-p.now+time.Millisecond); err != nil {
			return err
		}
	}
	return nil
}

// command has the probe do something while its stream is taken on, and waits until all is known up to when it was done.
func (p *probed) command(do func(ctx context.Context) (time.Duration, error)) (at time.Duration, err error) {
	if p.fault != nil {
		return p.Now(), p.fault
	}
	// Not the caller's context: what makes a bench safe has to be done also when that has ended.
	ctx, cancel := context.WithTimeout(context.Background(), answerLimit)
	defer cancel()
	done := make(chan struct{})
	go func() {
		defer close(done)
		at, err = do(ctx)
	}()
	for waiting := true; waiting; {
		select {
		case <-done:
			waiting = false
		default:
			if p.pump(ctx, time.Millisecond) != nil {
				<-done // which ends by its context, or sooner
				waiting = false
			}
		}
	}
	switch {
	case err == nil:
		err = p.until(ctx, at)
	case errors.Is(err, probe.ErrLost):
		// It may come back, but what was asked for is not done. Or it does not, which is then told.
		_ = p.until(ctx, p.now+time.Millisecond)
	}
	if err != nil && p.fault != nil {
		return at, p.fault
	}
	if err != nil {
		return at, fmt.Errorf("bench rig: %w: the probe: %w", harness.ErrRig, err)
	}
	return at, nil
}

// Fault follows harness.Fallible.
func (p *probed) Fault() error { return p.fault }

// Mishaps follows harness.Fallible.
func (p *probed) Mishaps() harness.Mishaps {
	m := p.mishaps
	for _, t := range p.tracks {
		if t != nil {
			m.Clipped += t.playout.clipped
		}
	}
	h := p.eyes.Health()
	m.Underruns += int(h.Late)
	m.Refused += int(h.RefusedPosts)
	m.Opened += int(h.LeftAlone)
	m.Reconnected += h.Reconnects + h.Restarts
	return m
}

// Track returns a track that the probe watches, or nil.
func (p *probed) Track(name station.Track) harness.Track {
	for _, t := range p.tracks {
		if t != nil && t.name == name {
			return t
		}
	}
	return nil
}

// Restart takes the station's supply away and gives it back.
func (p *probed) Restart(ctx context.Context) error {
	if p.hands == nil || !p.hello.Has(probe.HasSupply) {
		return errNoSwitch
	}
	give := func(on bool) error {
		_, err := p.command(func(ctx context.Context) (time.Duration, error) { return p.hands.Supply(ctx, on) })
		return err
	}
	err := give(false)
	if err == nil {
		err = p.Wait(ctx, p.supplyOff)
	}
	// It is given back whatever has happened.
	if err := errors.Join(err, give(true)); err != nil {
		return err
	}
	return p.Wait(ctx, p.starts)
}

// Safe takes everything off the rails. When the probe is lost, it does so itself within 100 ms: see harness/probe.
func (p *probed) Safe() error {
	if p.hands == nil {
		return nil
	}
	for _, t := range p.tracks {
		if t != nil {
			t.playout.reset(0) // see probedTrack.Open
		}
	}
	_, err := p.command(p.hands.Safe)
	for _, t := range p.tracks {
		if t != nil {
			t.taken()
		}
	}
	return err
}

// Close makes the rig safe and lets go of the probe.
func (p *probed) Close() error {
	if p.closed {
		return nil
	}
	p.closed = true
	err := p.eyes.Close() // which makes it safe
	if errors.Is(err, probe.ErrLost) {
		err = nil // it was told when it happened
	}
	return err
}
