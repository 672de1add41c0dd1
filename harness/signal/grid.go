package signal

import (
	"slices"
	"time"
)

// A Grid finds out on which instants the edges of a capture lie: those at which a logic analyser has looked. A file may tell its times more
// finely than they were taken; a Grid goes by the times themselves. Its memory does not depend on how many there are. The zero value has seen
// no edge.
//
// The time of an edge that is only known to a grid of step g may be anything in an interval of that width, each as probable: a rectangle of
// half-width g/2, with the standard uncertainty g/(2·√3) (JCGM 100:2008 4.3.7). The time between two edges has √2 of that, g/√6 (5.1.2), and with
// k = 2 the expanded uncertainty U = 2·g/√6, which is 0.82 µs for a grid of 1 µs.
type Grid struct {
	begun  bool
	first  time.Duration
	divide time.Duration // greatest common divisor of all times since the first edge
	last   time.Duration
	seen   [ticks]bool // which times between two edges that follow each other were met, from shortest on
}

// The times between edges that are looked at, one by one: those of half a one, which every capture has many of, with something to spare.
const (
	shortest = 50 * time.Microsecond
	ticks    = 20_000 // up to 70 µs, in ns
)

// Edges takes the next edges.
func (g *Grid) Edges(edges []Edge) {
	for _, e := range edges {
		if !g.begun {
			g.begun, g.first, g.last = true, e.Time, e.Time
			continue
		}
		g.divide = divisor(e.Time-g.first, g.divide)
		if i := e.Time - g.last - shortest; i >= 0 && i < ticks {
			g.seen[i] = true
		}
		g.last = e.Time
	}
}

// divisor is the greatest common divisor.
func divisor(a, b time.Duration) time.Duration {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, -a)
}

// Step is the step of the grid, at least 1 ns; zero when there were fewer than two edges. It is the greatest common divisor of the times of the
// edges. Where that comes to next to nothing, because times were rounded to nanoseconds (24 MHz have a step of 41 2/3 ns), it is the
// distance between the lengths of half-bits that were met, if they stand apart like the teeth of a comb.
func (g *Grid) Step() time.Duration {
	if g.divide > rounding {
		return g.divide
	}
	return max(g.divide, g.comb())
}

// rounding is within how many ns two times are the same but for rounding: each of two edges by half a ns, and again where a file has been
// converted.
const rounding = 3

// comb is the distance between the teeth, zero if there are none. The least of the distances is rounded as the times are; one more ns keeps
// it on the safe side.
func (g *Grid) comb() time.Duration {
	var teeth []int
	for i := 0; i < ticks; i++ {
		if !g.seen[i] {
			continue
		}
		from := i
		for i+1 < ticks && g.seen[i+1] {
			i++
		}
		if i-from >= rounding { // so wide that it is no tooth
			return 0
		}
		teeth = append(teeth, from)
	}
	if len(teeth) < 3 {
		return 0
	}
	var between []int
	for i := range teeth[1:] {
		between = append(between, teeth[i+1]-teeth[i])
	}
	if least := slices.Min(between); least > 2*rounding {
		return time.Duration(least + 1)
	}
	return 0
}
