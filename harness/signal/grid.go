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
	no     [rates]bool // with which rates, in MHz, no analyser can have looked, place 0 left out
	lowest int         // of the rates that are left, or below
}

// The times between edges that are looked at, one by one: those of half a one, which every capture has many of, with something to spare.
const (
	shortest = 50 * time.Microsecond
	ticks    = 20_000 // up to 70 µs, in ns
)

// rates has room for those of whole MHz up to 100; the grid of a higher one is less than 10 ns, and the comb or nothing finds it.
const rates = 101

// Edges takes the next edges.
func (g *Grid) Edges(edges []Edge) {
	for _, e := range edges {
		if !g.begun {
			g.begun, g.first, g.last = true, e.Time, e.Time
			continue
		}
		g.divide = divisor(e.Time-g.first, g.divide)
		if g.divide <= rounding {
			g.rule(e.Time - g.last)
		}
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
// edges. Where that comes to next to nothing, because times were rounded to nanoseconds (24 MHz have a step of 41 2/3 ns), it is that of
// the lowest rate in whole MHz with which all of them may have been taken, else the distance between the lengths of half-bits that were
// met, if they stand apart like the teeth of a comb. It is rounded up to whole nanoseconds.
func (g *Grid) Step() time.Duration {
	if g.divide > coarsest {
		return g.part()
	}
	if g.divide > rounding || g.divide == 0 {
		return g.divide
	}
	for rate := 1; rate < rates; rate++ {
		if !g.no[rate] {
			return time.Duration((1000 + rate - 1) / rate)
		}
	}
	return max(g.divide, g.comb())
}

// coarsest is the coarsest grid on which anybody looks at this signal, 500 kHz: common practice, no source. A station whose bits are made
// by a timer without jitter, zeros of 116 µs and ones of 58 µs, has all its edges on a grid of its own, which tells nothing of how well
// they are known.
const coarsest = 2 * time.Microsecond

// part is the greatest part of the divisor that is no coarser than that.
func (g *Grid) part() time.Duration {
	for step := coarsest; step > 1; step-- {
		if g.divide%step == 0 {
			return step
		}
	}
	return 1
}

// rule rules out the rates with which no two instants are a time apart, give or take what rounding both to nanoseconds makes of it: less
// than one, twice.
func (g *Grid) rule(apart time.Duration) {
	g.lowest = max(g.lowest, 1)
	for g.lowest < rates && g.no[g.lowest] {
		g.lowest++
	}
	for rate := g.lowest; rate < rates; rate++ {
		if g.no[rate] {
			continue
		}
		rest := apart * time.Duration(rate) % 1000 // of a period, in thousandths
		rest = max(rest, -rest)
		g.no[rate] = min(rest, 1000-rest) > 2*time.Duration(rate)
	}
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
