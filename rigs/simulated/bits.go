package simulated

import (
	"math"
	"math/rand/v2"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
)

// never is later than any time of a rig.
const never = time.Duration(math.MaxInt64)

// fine is the resolution in which the generator keeps time: 1/1024 ns. A crystal that is 1 ppm off changes a half-bit
// by 59 of these.
const fine = 1024

// packetSource gives the bit generator its next packet. It is asked at the end of a packet.
type packetSource interface {
	// nextPacket returns nil when the output is to be switched off.
	nextPacket(t time.Duration) dcc.Packet
}

// generator is the timer that toggles an output and the interrupt routine that feeds it with bits, one half-bit at a
// time. It runs freely: bits follow each other without a gap, and the preamble of a packet follows the end bit of the
// one before.
type generator struct {
	source   packetSource
	preamble int
	half     [5][2]int64 // duration of the two halves of a zero, of a one, and of what flawed firmware sends, fine
	jitter   uint64      // most that an edge is late, fine
	stretch  int64       // most that the zeros of a packet are stretched together, fine
	elastic  int64       // of that, what is left in this packet
	random   *rand.PCG
	stopped  func(t time.Duration) // called when the output went off by itself

	running  bool
	ending   bool // the last bit before the output goes off is on its way
	bits     []byte
	position int
	second   bool          // the next half-bit is the second of its bit
	grid     int64         // when the next half-bit is due, fine
	next     time.Duration // when the next edge comes, of a half-bit or of a cutout; never when not running

	cutout  cutout
	spoil   bitSpoiler // what a flawed firmware does to its bits
	cutsOff bool       // a flawed one takes the power off right after a packet
}

func newGenerator(s *settings, preamble int, source packetSource, random *rand.PCG) generator {
	tick := 500 * float64(fine) * (1 + s.crystal)
	g := generator{
		source:   source,
		preamble: preamble,
		jitter:   uint64(s.jitter.Nanoseconds() * fine),
		random:   random,
		bits:     make([]byte, 0, 1024),
		next:     never,
		spoil:    bitSpoiler{long: -1},
	}
	for half := range 2 {
		g.half[0][half] = int64(float64(s.zeroTicks[half]) * tick)
		g.half[1][half] = int64(float64(s.oneTicks[half]) * tick)
	}
	g.half[tornBit] = [2]int64{g.half[1][0], g.half[0][1]}
	g.half[offBit] = [2]int64{int64(blink) * fine, int64(blink) * fine}
	g.half[briefBit] = [2]int64{int64(brief) * fine, int64(brief) * fine}
	g.cutsOff = s.flaws.offAtEnd
	return g
}

// start switches the output on at t, with the preamble of a new packet.
func (g *generator) start(t time.Duration) {
	g.bits, g.position, g.second, g.ending = g.bits[:0], 0, false, false
	g.spoil.sent = 0
	g.running, g.grid, g.next = true, int64(t)*fine, t
	g.cutout.forget()
}

// stop switches the output off at once.
func (g *generator) stop() {
	g.running, g.next = false, never
	g.cutout.forget()
}

// step makes the edge that is due and returns the new state of the output.
func (g *generator) step() signal.Level {
	if g.cutout.length == 0 {
		return g.halfBit()
	}
	return g.stepAround()
}

// halfBit begins the half-bit that is due and returns its level.
func (g *generator) halfBit() signal.Level {
	if g.position == len(g.bits) && !g.load() {
		t := g.next
		g.stop()
		g.stopped(t)
		return signal.Off
	}
	bit := g.bits[g.position]
	level, half := signal.Positive, 0
	if g.second {
		level, half = signal.Negative, 1
	}
	if bit == offBit || bit == briefBit && g.second {
		level = signal.Off
	}
	g.grid += g.half[bit][half]
	if bit == 0 && g.elastic > 0 {
		g.grid += g.stretched()
	}
	if g.spoil.active {
		g.grid += g.spoil.extra(g.position)
	}
	g.position += half
	g.second = !g.second
	due := g.grid
	if g.jitter > 0 {
		due += int64(g.random.Uint64() >> 40 * g.jitter >> 24)
	}
	g.next = time.Duration(due / fine)
	return level
}

// stretched is by how much a half of a zero is longer than it must be: one in sixteen halves, by any part of what is left to the packet.
func (g *generator) stretched() int64 {
	if g.random.Uint64()%16 != 0 {
		return 0
	}
	extra := int64(g.random.Uint64() % uint64(g.elastic+1))
	g.elastic -= extra
	return extra
}

// load fetches the next packet and reports false when there is none and the last bit has gone out.
func (g *generator) load() bool {
	if g.ending {
		return false
	}
	after := len(g.bits) > 0
	g.position, g.elastic = 0, g.stretch
	p := g.source.nextPacket(g.next)
	if p == nil && g.cutsOff {
		g.ending = true
		g.bits = append(g.bits[:0], briefBit)
		return true
	}
	if p == nil {
		// The stream goes on for at least 26 µs after the packet end bit: S-9.2 A, footnote 3 (July 2004).
		g.ending = true
		g.bits = append(g.bits[:0], 1)
		return true
	}
	g.bits = g.spoil.apply(p.AppendBits(g.bits[:0], g.preamble), p)
	if g.cutout.length > 0 && after {
		g.cutout.plan(g.next)
	}
	return true
}
