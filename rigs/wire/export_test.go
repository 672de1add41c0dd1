package wire

import "time"

// What the tests of the pacer know of it.
const (
	Leap       = leap
	HostBuffer = hostBuffer
)

// FallBehind makes it later by d on the wall.
func (p *Pacer) FallBehind(d time.Duration) { p.wall = p.wall.Add(-d) }

// Said is how much the host has not taken.
func (p *Pacer) Said() int { return len(p.said) }
