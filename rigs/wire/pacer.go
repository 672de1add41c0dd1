package wire

import (
	"context"
	"errors"
	"time"

	"bufferstop/harness/link"
)

// A Rig has a line whose station can be served to others.
type Rig interface {
	Line() *Line
	Safe() error
}

// Serve runs the rig with its serial line connected to l, until ctx ends or l is closed, which is no error: in step with the
// wall clock, or as fast as the machine can.
// It leaves the rig safe, and both rig and link open. The rig is Serve's alone until it returns.
func Serve(ctx context.Context, r Rig, l link.Link, realTime bool) error {
	p := NewPacer(r.Line(), l)
	p.hurries = !realTime
	var err error
	for err == nil {
		err = p.Step(ctx, never)
	}
	if ctx.Err() != nil || errors.Is(err, link.ErrClosed) {
		err = nil
	}
	return errors.Join(err, r.Safe())
}

const (
	// tick is how long a step waits for bytes, and so about how far the rig's clock lags behind the wall's: little beside
	// the time that a command takes on the line.
	tick = time.Millisecond
	// leap is the furthest that the rig goes on at once when it has fallen behind, because the machine was busy: bytes that
	// have come meanwhile must not find a station that is much older than they are.
	leap = 4 * time.Millisecond
	// hostBuffer is how many characters wait for a host that does not take them. More are lost, as on any serial line
	// without flow control.
	hostBuffer = 64 << 10
)

// A Pacer lets a rig run in step with the wall clock, with its serial line connected to a link. Rig, link and pacer
// belong to one goroutine: the rig stands still between two steps.
type Pacer struct {
	line    *Line
	host    link.Link
	wall    time.Time     // the wall clock and
	from    time.Duration // the rig's clock when they last were set against each other
	input   [1024]byte
	hurries bool   // goes on as fast as the machine can
	said    []byte // by the station, and not taken by the host yet
}

// NewPacer returns a pacer whose time starts now.
func NewPacer(l *Line, host link.Link) *Pacer {
	p := &Pacer{line: l, host: host}
	p.Resume()
	return p
}

// Resume forgets the time that has passed on the wall since the last step.
func (p *Pacer) Resume() { p.wall, p.from = time.Now(), p.now() }

// Step takes what the host has sent, lets the rig catch up with the wall clock, but not beyond to on its own, and hands
// over what the station has said. It waits for a byte of the host for about a millisecond if the rig is not behind. The
// error is that of the link or of ctx.
func (p *Pacer) Step(ctx context.Context, to time.Duration) error {
	wait := tick
	if p.due(to) > p.now()+tick {
		wait = 0
	}
	if err := p.hear(ctx, wait); err != nil {
		return err
	}
	if err := p.line.World.Advance(ctx, min(p.due(to), p.now()+leap), false); err != nil {
		return err
	}
	return p.say(ctx)
}

func (p *Pacer) now() time.Duration { return p.line.World.Now() }

// due is where the rig's clock ought to be.
func (p *Pacer) due(to time.Duration) time.Duration {
	if p.hurries {
		return min(to, p.now()+leap)
	}
	return min(to, p.from+time.Since(p.wall))
}

// hear puts what the host has sent on the line, as much of it as the line's transmit buffer has room for.
func (p *Pacer) hear(ctx context.Context, wait time.Duration) error {
	l := p.line
	room := min(TransmitBuffer-len(l.ToStation.bytes), len(p.input))
	if room == 0 {
		time.Sleep(wait)
		return ctx.Err()
	}
	n, err := p.host.Read(ctx, p.input[:room], wait)
	l.ToStation.Put(p.now(), p.input[:n])
	if errors.Is(err, link.ErrTimeout) {
		return nil
	}
	return err
}

// say hands the host what has arrived from the station.
func (p *Pacer) say(ctx context.Context) error {
	l := p.line
	var arrived [256]byte
	for n := l.ToHost.Take(p.now(), arrived[:]); n > 0; n = l.ToHost.Take(p.now(), arrived[:]) {
		p.said = append(p.said, arrived[:min(n, hostBuffer-len(p.said))]...)
	}
	if len(p.said) == 0 {
		return nil
	}
	n, err := p.host.Write(ctx, p.said, 0)
	p.said = p.said[:copy(p.said, p.said[n:])]
	if errors.Is(err, link.ErrTimeout) {
		return nil
	}
	return err
}
