package signal

import (
	"math/rand/v2"
	"time"

	"bufferstop/harness/dcc"
)

const us = time.Microsecond

// stream builds the edges of a track by hand. It knows nothing of how a Receiver works.
type stream struct {
	edges []Edge
	now   time.Duration
	level Level
}

// newStream begins with the track at a level, as a probe tells it first.
func newStream(level Level) *stream {
	return &stream{level: level, edges: []Edge{{0, level}}}
}

// half keeps the present level for d and then reverses.
func (s *stream) half(d time.Duration) *stream {
	s.now += d
	s.level = -s.level
	s.edges = append(s.edges, Edge{s.now, s.level})
	return s
}

func (s *stream) halves(ds ...time.Duration) *stream {
	for _, d := range ds {
		s.half(d)
	}
	return s
}

// off takes the voltage away after a piece of the present half-bit and gives it back after d.
func (s *stream) off(piece, d time.Duration, back Level) *stream {
	s.now += piece
	s.edges = append(s.edges, Edge{s.now, Off})
	s.now += d
	s.level = back
	s.edges = append(s.edges, Edge{s.now, back})
	return s
}

func (s *stream) ones(n int) *stream {
	for range 2 * n {
		s.half(58 * us)
	}
	return s
}

func (s *stream) zero() *stream { return s.halves(100*us, 100*us) }

// bits sends bits with the nominal lengths of S-9.1 A (2020).
func (s *stream) bits(bits ...byte) *stream {
	for _, b := range bits {
		if b == 1 {
			s.ones(1)
		} else {
			s.zero()
		}
	}
	return s
}

func (s *stream) packet(p dcc.Packet, preamble int) *stream {
	return s.bits(p.AppendBits(nil, preamble)...)
}

// varied sends bits with lengths drawn from what the reading's limits allow, the extremes often among them. Every eighth zero
// is a stretched one.
func (s *stream) varied(bits []byte, limits Limits, random *rand.Rand) *stream {
	draw := func(low, high int64) int64 {
		switch random.IntN(8) {
		case 0:
			return low
		case 1:
			return high
		}
		return low + random.Int64N(high-low+1)
	}
	for _, b := range bits {
		var first, second int64
		if b == 1 {
			first = draw(limits.OneHalf.Low, limits.OneHalf.High)
			second = draw(max(limits.OneHalf.Low, first-limits.OneDifference.High),
				min(limits.OneHalf.High, first+limits.OneDifference.High))
		} else {
			most := 130 * microsecond
			if random.IntN(8) == 0 {
				most = limits.ZeroHalf.High
			}
			first = draw(limits.ZeroHalf.Low, most)
			second = draw(limits.ZeroHalf.Low, min(limits.ZeroHalf.High, max(130*microsecond, limits.ZeroTotal.High-first)))
			second = min(second, limits.ZeroTotal.High-first)
		}
		s.halves(time.Duration(first), time.Duration(second))
	}
	return s
}

// heard is what a receiver told a sink.
type heard struct {
	packets  []Packet
	unusable []Unusable
}

func (h *heard) Packet(p *Packet)    { h.packets = append(h.packets, p.Clone()) }
func (h *heard) Unusable(u Unusable) { h.unusable = append(h.unusable, u) }

// bytes are those of all packets, as text.
func (h *heard) bytes() []string {
	texts := []string{}
	for _, p := range h.packets {
		texts = append(texts, p.Bytes.String())
	}
	return texts
}

// receive reads a whole stream in one way.
func receive(r Reading, edges []Edge, end time.Duration) (*heard, *Receiver) {
	h := new(heard)
	receiver := NewReceiver(r, h)
	receiver.Edges(edges)
	receiver.Finish(end)
	return h, receiver
}

// randomPacket is a packet of a legal length with any bytes.
func randomPacket(random *rand.Rand) dcc.Packet {
	body := make([]byte, dcc.MinPacketBytes-1+random.IntN(dcc.MaxPacketBytes-dcc.MinPacketBytes+1))
	for i := range body {
		body[i] = byte(random.Uint32())
	}
	return dcc.Seal(body...)
}
