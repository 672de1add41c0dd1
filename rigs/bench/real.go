package bench

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness/link"
	"bufferstop/rigs/simulated"
	"bufferstop/rigs/wire"
)

// A realSide is a simulated bench in step with the wall clock. It moves while the harness waits on the rig or its link, in
// the goroutine of the harness: what the specs and the simulation share needs no locks, and the time that the harness
// takes to think is none on the rig's clock. (wire.Serve is for those that need a station which never waits.)
type realSide struct {
	*simulated.Rig
	pacer *wire.Pacer
}

// A realLine is the link to the station of a realSide.
type realLine struct {
	crossing
	side *realSide
}

func newReal(rig *simulated.Rig, w crossing) (side, link.Link) {
	l := &realLine{crossing: w}
	l.side = &realSide{rig, wire.NewPacer(rig.Line(), counted{&l.crossing})}
	return l.side, l
}

// Wait lets d of real time pass.
func (s *realSide) Wait(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.pacer.Resume()
	for end := s.Now() + max(d, 0); s.Now() < end; {
		if err := s.pacer.Step(ctx, end); err != nil {
			return err
		}
	}
	return nil
}

// Restart follows the rules of harness.Rig.
func (s *realSide) Restart(ctx context.Context) error {
	started, err := s.CutSupply()
	if err != nil {
		return err
	}
	return s.Wait(ctx, started)
}

// ReopenLink follows the rules of harness.Reopener. What is on the real link stays there; a driver that comes into step passes
// it over.
func (s *realSide) ReopenLink(ctx context.Context, closed time.Duration) error {
	s.HostLeaves()
	return s.Wait(ctx, closed)
}

// unattended is how long a call of the real link may last before the station is looked after.
const unattended = time.Millisecond

// Read follows the rules of link.Link. The allowed time is that of the station, which may be behind the wall's; and what
// it has said within that time arrives, however long it takes over the link.
func (l *realLine) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	l.side.pacer.Resume()
	for deadline := deadlineOf(l.side, timeout); ; {
		n, err := l.near.Read(ctx, p, 0)
		if n > 0 || !errors.Is(err, link.ErrTimeout) {
			l.flying -= n
			return n, err
		}
		if l.side.Now() >= deadline {
			break
		}
		if err := l.side.pacer.Step(ctx, deadline); err != nil {
			return 0, err
		}
	}
	if l.flying <= 0 || l.translated {
		return 0, link.ErrTimeout
	}
	arrived, err := l.take(ctx, l.near, min(len(p), l.flying))
	l.flying -= len(arrived)
	if errors.Is(err, link.ErrClosed) {
		l.flying = 0 // it is told once
	}
	return copy(p, arrived), err
}

// Write follows the rules of link.Link.
func (l *realLine) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	l.side.pacer.Resume()
	for n, deadline := 0, deadlineOf(l.side, timeout); ; {
		done, err := l.near.Write(ctx, p[n:], unattended)
		n += done
		switch {
		case !errors.Is(err, link.ErrTimeout):
			return n, err
		case l.side.Now() >= deadline:
			return n, fmt.Errorf("%w: the far end took %d of %d bytes", link.ErrTimeout, n, len(p))
		}
		if err := l.side.pacer.Step(ctx, deadline); err != nil {
			return n, err
		}
	}
}
