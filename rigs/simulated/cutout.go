package simulated

import (
	"time"

	"bufferstop/harness/signal"
)

// cutoutSettings say when a cutout begins after the end bit of a packet, and how long it lasts.
type cutoutSettings struct{ begins, length time.Duration }

// cutout is the gap for bi-directional communication after each packet: the station takes both rails off the supply and joins them.
// Its bits go on meanwhile, so that the preamble is on the track from where the cutout ends, in the middle of a bit as a rule.
type cutout struct {
	cutoutSettings
	due      bool          // one is planned, or open
	open     bool          // the rails are joined
	off, on  time.Duration // when it begins and ends
	edge     time.Duration // when the next half-bit is due, while a cutout is
	level    signal.Level  // what the bits would have the track do
	packets  int           // so far
	everyOne int           // none after each packet of this count; a flawed firmware only
	held     bool          // none at all for now; a flawed firmware only
}

// forget drops what is planned.
func (c *cutout) forget() { c.due, c.open = false, false }

// plan has a cutout after the packet whose end bit ends at t.
func (c *cutout) plan(t time.Duration) {
	c.packets++
	if c.held || c.everyOne > 0 && c.packets%c.everyOne == 0 {
		return
	}
	c.due, c.open = true, false
	c.off = t + c.begins
	c.on = c.off + c.length
}

// stepAround makes the edge that is due on a track with cutouts: of a half-bit, which nobody sees while the rails are joined, or the
// beginning or the end of a cutout.
func (g *generator) stepAround() signal.Level {
	c := &g.cutout
	if t := g.next; c.due {
		switch {
		case !c.open && t == c.off:
			c.open = true
			g.next = min(c.edge, c.on)
			return signal.Off
		case c.open && t == c.on && t != c.edge:
			c.forget()
			g.next = c.edge
			return c.level
		case c.open && t == c.on:
			c.forget()
		}
	}
	level := g.halfBit() // plans a cutout when it begins a packet
	if !c.due {
		return level
	}
	c.level, c.edge = level, g.next
	if c.open {
		g.next = min(c.edge, c.on)
		return signal.Off
	}
	g.next = min(c.edge, c.off)
	return level
}
