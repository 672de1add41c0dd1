package bench

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness/link"
)

// A probedLine is the link to the station of a bench with a probe. While the harness waits for the station, the probe is
// listened to, and the clock of the link is the probe's.
type probedLine struct {
	near link.Link
	side *probed
}

// Read follows the rules of link.Link. When the probe is lost meanwhile, one call says so; later ones go on by the wall clock, so that
// the station can still be told to switch off.
func (l *probedLine) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	s := l.side
	known := s.fault
	if err := s.refresh(ctx); err != nil && known == nil {
		return 0, err
	}
	for deadline := deadlineOf(s, timeout); ; {
		left := max(deadline-s.Now(), 0)
		if known != nil {
			return l.near.Read(ctx, p, left)
		}
		n, err := l.near.Read(ctx, p, 0)
		if n > 0 || !errors.Is(err, link.ErrTimeout) {
			return n, err
		}
		if left == 0 {
			return 0, fmt.Errorf("read from the station: %v %w", timeout, link.ErrTimeout)
		}
		if err := s.pump(ctx, min(left, unattended)); err != nil {
			return 0, err
		}
	}
}

// Write follows the rules of link.Link, and those of Read.
func (l *probedLine) Write(ctx context.Context, p []byte, timeout time.Duration) (n int, err error) {
	s := l.side
	known, before := s.fault, s.now
	if err := s.refresh(ctx); err != nil && known == nil {
		return 0, err
	}
	if s.hands != nil && s.asked && s.now-before > heldUpWriting+s.stretch {
		s.mishaps.HeldUp++
	}
	s.asked = false
	for deadline := deadlineOf(s, timeout); ; {
		left := max(deadline-s.Now(), 0)
		if known != nil {
			done, err := l.near.Write(ctx, p[n:], left)
			return n + done, err
		}
		done, err := l.near.Write(ctx, p[n:], min(left, unattended))
		n += done
		switch {
		case !errors.Is(err, link.ErrTimeout):
			return n, err
		case left == 0:
			return n, fmt.Errorf("%w: the far end took %d of %d bytes", link.ErrTimeout, n, len(p))
		}
		if err := s.pump(ctx, 0); err != nil {
			return n, err
		}
	}
}

// Close closes the link.
func (l *probedLine) Close() error { return l.near.Close() }
