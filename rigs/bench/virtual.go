package bench

import (
	"context"
	"time"

	"bufferstop/harness/link"
	"bufferstop/rigs/simulated"
)

// A virtualSide is a simulated bench whose time passes only while the harness waits.
type virtualSide struct {
	*simulated.Rig
	line *virtualLine
}

// A virtualLine is the link to the station of a virtualSide. Each byte takes the way over the real link, and stays on the
// simulated line as long as it would without.
type virtualLine struct {
	crossing
	rig *simulated.Rig
	// ahead is what has come over the real link and not arrived yet on the rig's clock: what the station says goes over in
	// one piece, since every crossing takes real time.
	ahead []byte
}

func newVirtual(rig *simulated.Rig, w crossing) (side, link.Link) {
	l := &virtualLine{crossing: w, rig: rig}
	return &virtualSide{rig, l}, l
}

// Restart follows the rules of harness.Rig.
func (s *virtualSide) Restart(ctx context.Context) error {
	s.line.ahead = nil
	return s.Rig.Restart(ctx)
}

// ReopenLink follows the rules of harness.Reopener.
func (s *virtualSide) ReopenLink(ctx context.Context, closed time.Duration) error {
	s.line.ahead = nil
	return s.Rig.ReopenLink(ctx, closed)
}

// chunk is how many bytes are on the real link at once: pseudo-terminals take a few thousand before they block.
const chunk = 512

// Read follows the rules of link.Link.
func (l *virtualLine) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	said := make([]byte, min(len(p), chunk))
	n, err := l.rig.Link().Read(ctx, said, timeout)
	if err != nil {
		return 0, err
	}
	for len(l.ahead) < n {
		across := append(said[len(l.ahead):n:n], l.rig.Line().ToHost.Underway()...)
		arrived, err := l.carry(ctx, l.far, l.near, across[:min(len(across), chunk)])
		if err != nil {
			l.ahead = nil // whatever is still on its way belongs to an answer that is given up
			return 0, err
		}
		l.ahead = append(l.ahead, arrived...)
	}
	copy(p, l.ahead[:n])
	l.ahead = l.ahead[n:]
	return n, nil
}

// Write follows the rules of link.Link.
func (l *virtualLine) Write(ctx context.Context, p []byte, timeout time.Duration) (n int, err error) {
	for deadline := deadlineOf(l.rig, timeout); n < len(p); {
		arrived, err := l.carry(ctx, l.near, l.far, p[n:min(len(p), n+chunk)])
		if err != nil {
			return n, err
		}
		taken, err := l.rig.Link().Write(ctx, arrived, deadline-l.rig.Now())
		n += taken
		if err != nil {
			return n, err
		}
	}
	return n, ctx.Err()
}
