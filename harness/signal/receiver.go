package signal

import "time"

// A Receiver finds the packets in a stream of edges and measures them. It needs the same memory for a stream of any
// length and allocates none for an edge. It is used by one goroutine at a time.
//
// The work is split as the signal is: half-bits here, bits and bytes in bits.go, and what breaks the stream in
// interruptions.go.
type Receiver struct {
	reading Reading
	sink    Sink
	stats   Statistics

	// Half-bits. The track has had level since last. next is the level with which an edge ends a half-bit that was seen
	// whole, or noReversal.
	last     time.Duration
	next     int16
	level    Level
	state    state
	zeroFrom uint64   // the shortest half-bit that may be half a zero
	classes  [2]class // of zeros and ones, indexed by bit
	held     heldHalf

	// An off state, while there is one.
	offSince    time.Duration
	beforeOff   Level
	nextIfShort int16 // next, should it turn out that the voltage only passed through zero

	// The half-bit before, in a run or in a bit.
	firstLength uint64
	firstStart  time.Duration

	// The run of half ones that may become a preamble.
	run         int              // how many halves
	runStart    time.Duration    // beginning of the first of them
	runSecond   time.Duration    // beginning of the second
	broken      [2]int           // the last pair of unlike halves ended with this one, by phase
	brokenAt    [2]time.Duration // and ended then
	aligned     bool             // the run began with the first half of a bit
	afterEndBit bool             // which followed an end bit
	afterOff    bool             // the run is the first thing after an off state between packets
	whole       bool             // and its first half was whole

	// The packet that is being received.
	packet Packet
	buffer [maxBytes]byte
	shift  uint32 // the bits of the present byte, behind a leading one
	bit    uint32 // what the first half of the present bit says

	// What lies behind.
	lost         bool // in a stretch that is of no use
	lostFrom     time.Duration
	lostReason   Reason
	freshFrom    time.Duration // since when there have been only ones
	freshReason  Reason        // what it means if they are no preamble
	lastEnd      time.Duration // end of the packet before, while gapOpen
	gapOpen      bool
	lastStartBit time.Duration // of the good packet before, while intervalOpen
	intervalOpen bool
	addresses    *addresses
}

// state is what the next half-bit is.
type state uint8

const (
	hunting state = iota // one of a run of ones, in whichever phase, or worthless
	first                // the first half of a bit of a packet
	second               // the second half of a bit of a packet
)

// noReversal is a value of Receiver.next that no level equals.
const noReversal int16 = 1000

// unknown is a level that no edge has.
const unknown Level = 2

// class is how a half-bit of one kind is recognised and where it is counted.
type class struct {
	low, span uint64
	mostValue uint64        // of what is counted of a whole bit
	halves    *Distribution // where a half-bit is counted
	bits      *Distribution // where a whole bit is counted: its length if a zero, the difference of its halves if a one
}

// heldHalf is a whole half-bit that is not counted before the next edge has shown that no glitch cut it short. Without
// a distribution none is held.
type heldHalf struct {
	distribution *Distribution
	length       int64
	start        time.Duration
}

// NewReceiver returns a Receiver that reads in the given way and tells sink what it finds. A nil sink is told nothing.
func NewReceiver(reading Reading, sink Sink) *Receiver {
	if sink == nil {
		sink = nobody{}
	}
	r := &Receiver{reading: reading, sink: sink, addresses: newAddresses()}
	r.stats = *NewStatistics(reading)
	r.classes[0] = newClass(reading.Zero, Unlimited, &r.stats.ZeroHalf, &r.stats.ZeroTotal)
	r.classes[1] = newClass(reading.One, reading.OneDifference, &r.stats.OneHalf, &r.stats.OneDifference)
	r.zeroFrom = uint64(reading.Zero.Low)
	r.forget()
	return r
}

func newClass(b Band, mostValue time.Duration, halves, bits *Distribution) class {
	return class{low: uint64(b.Low), span: uint64(b.High - b.Low), mostValue: uint64(mostValue), halves: halves, bits: bits}
}

// nobody is told and does not listen.
type nobody struct{}

func (nobody) Packet(*Packet)    {}
func (nobody) Unusable(Unusable) {}

// forget makes the receiver one that has seen no edge, except for its statistics.
func (r *Receiver) forget() {
	r.level, r.next, r.last = unknown, noReversal, never
	r.held = heldHalf{}
	r.lost, r.gapOpen, r.intervalOpen = false, false, false
	r.addresses.forget()
	r.fresh(0, ReasonCutAtStart)
}

// Reading tells in which way the receiver reads.
func (r *Receiver) Reading() Reading { return r.reading }

// Statistics returns what was measured so far. It stays in the receiver's possession: copy it to keep it. The newest
// half-bit is counted at the next edge, when it is sure that no glitch cut it short, or by Finish.
func (r *Receiver) Statistics() *Statistics { return &r.stats }

// ResetStatistics begins the statistics anew. No interval, gap or spacing that began before is counted.
func (r *Receiver) ResetStatistics() {
	r.stats = *NewStatistics(r.reading)
	r.held = heldHalf{}
	r.gapOpen, r.intervalOpen = false, false
	r.addresses.forget()
}

// Edges takes the next edges of the stream, in order of time.
func (r *Receiver) Edges(edges []Edge) {
	for len(edges) > 0 {
		if n := r.ordinary(edges); n > 0 {
			edges = edges[n:]
			continue
		}
		r.Edge(edges[0])
		edges = edges[1:]
	}
}

// Edge takes the next edge of the stream. An edge to the level that the track already has says nothing new and is
// ignored. The first edge tells the level that the track has: the half-bit that it is in is seen only in part.
func (r *Receiver) Edge(e Edge) {
	length := uint64(e.Time - r.last)
	var bit uint32
	if length < r.zeroFrom {
		bit = 1
	}
	c := &r.classes[bit]
	if int16(e.Level) != r.next || length-c.low > c.span {
		r.unusual(e)
		return
	}
	start := r.last
	r.last, r.level, r.next = e.Time, e.Level, -r.next
	r.stats.Edges++
	r.count()
	r.held = heldHalf{c.halves, int64(length), start}
	r.half(bit, length, start)
}

// count counts the held half-bit.
func (r *Receiver) count() {
	if r.held.distribution != nil {
		r.held.distribution.add(r.held.length, r.held.start)
	}
}
