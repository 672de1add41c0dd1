package rails

import (
	"math"
	"time"
)

// longestRise is the longest rise that a bridge is given: one that takes longer than half a one has no settled voltage left. Our own
// choice.
const longestRise = 30 * time.Microsecond

// swing is a change of polarity: what the bridge drives, and what comes of it at the rails.
//
// The bridge goes in a straight line from one polarity to the other, by its rise. Between it and the rails are resistance R and
// capacitance C. Decoders and loads have rectifiers with capacitors behind: they draw nothing while the rails are below what these
// hold, so that on its way the voltage is that of the bridge, and goes no further than where it settles.
type swing struct {
	c        *circuit
	from, to float64 // what the bridge drives, in volts
	low      float64 // where the rails settle
	high     float64
	turns    []turn // of what the bridge drives
}

// turn is a voltage that the bridge drives at a time, in nanoseconds from the middle of the change. Between two it is on a straight line.
type turn struct{ at, volts float64 }

// swing is the change at the middle of which the bridge drives nothing, to the positive or to the negative polarity, with what lies
// across the rails.
func (c *circuit) swing(positive bool, sinks, conductance float64) swing {
	e, r := c.supply-c.drop, c.bridge+c.sense+c.wiring
	settled, _ := c.solve(sinks, conductance)
	e /= 1 + r*conductance
	s := swing{c: c, from: -(e - c.uneven), to: e, low: -max(settled-c.uneven, 0), high: settled}
	if !positive {
		s.from, s.to, s.low, s.high = s.to, s.from, s.high, s.low
	}
	s.turns = []turn{{-c.rise / 2, s.from}, {c.rise / 2, s.to}}
	if c.kink != 0 {
		s.kink()
	}
	return s
}

// kinkVolts and kinkTime are by how much, and for how long, a bridge with a kink runs back.
const kinkVolts, kinkTime = 1.0, 300.0

// kink has the bridge run back on its way.
func (s *swing) kink() {
	way := math.Copysign(1, s.to-s.from)
	k := way * s.c.kink
	at := s.c.rise * ((k-s.from)/(s.to-s.from) - 0.5)
	s.turns = []turn{s.turns[0], {at, k}, {at + kinkTime, k - way*kinkVolts}, {s.c.rise/2 + 2*kinkTime, s.to}}
}

// driven is what the rails would settle at, did the bridge stand still as at a time.
func (s *swing) driven(at float64) float64 {
	v := s.to
	for i, t := range s.turns {
		if at < t.at {
			v = s.from
			if i > 0 {
				before := s.turns[i-1]
				v = before.volts + (t.volts-before.volts)*(at-before.at)/(t.at-before.at)
			}
			break
		}
	}
	return max(min(v, max(s.low, s.high)), min(s.low, s.high))
}

// trace works the voltage at the rails out from a time on, n values an interval apart, all in nanoseconds and volts. Over a step in
// which the driven voltage goes in a straight line, the capacitor follows it exactly.
func (s *swing) trace(from, interval float64, n int) []float64 {
	const pieces = 5 // of an interval, so that what turns within one is not missed
	step := interval / pieces
	tau := (s.c.bridge + s.c.sense + s.c.wiring) * s.c.farads * 1e9
	fades := 0.0
	if tau > 0 {
		fades = math.Exp(-step / tau)
	}
	all := make([]float64, n)
	v, last := s.driven(from), s.driven(from)
	for i := range n * pieces {
		if i%pieces == 0 {
			all[i/pieces] = v
		}
		next := s.driven(from + float64(i+1)*step)
		lag := (next - last) / step * tau // of one that has followed for long
		v = next - lag + (v-last+lag)*fades
		last = next
	}
	return all
}
