package analyser

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/bits"
	"time"

	"bufferstop/harness/signal"
)

// None is the bit of a pin that is not connected.
const None = -1

// Pins are the bits of a sample that belong to one track, each counted from 0 or None. There is either Sign, alone or
// with Absent, or Positive with Negative.
type Pins struct {
	Sign               int // high: the voltage is positive
	Absent             int // high: there is no voltage
	Positive, Negative int // high: there is voltage, and it points that way
	// Low says that Absent, Positive and Negative are low where the above says high, as outputs of open collectors are
	// that pull a line down.
	Low bool
}

// TellsOff reports whether the pins tell a track without voltage from one with it.
func (p Pins) TellsOff() bool { return p.Absent != None || p.Positive != None }

// A Layout says how samples are to be read.
type Layout struct {
	Rate  int64 // samples per second, 1 to 10^9
	Bytes int   // of one sample, 1 to 8; its first byte holds bits 0 to 7
	Pins  []Pins
	// OffAfter is, with Positive and Negative, how long a track has to be without voltage until it is off: shorter gaps are
	// the middle of a reversal. With Absent it is by how much that is late; what the sign showed meanwhile was noise, and is
	// left out.
	OffAfter time.Duration
}

const (
	longestSample = 8
	fastest       = 1_000_000_000
)

// A Sampler finds the edges in a stream of samples. It allocates nothing, once a track with Absent has shown how many
// edges it has within OffAfter.
type Sampler struct {
	layout Layout
	sink   func(track int, e signal.Edge)
	tracks []sampled
	mask   uint64 // the bits of one sample that are read
	wide   uint64 // the same, repeated as often as samples fit in 64 bits
	step   int    // how many those are; 0 when a sample does not divide 8 bytes
	value  uint64 // of the newest sample, masked
	index  int64  // of the next sample
	off    int64  // OffAfter in samples
	rest   [longestSample]byte
	kept   int // bytes in rest
	begun  bool

	contradictions int64
}

// sampled is one track.
type sampled struct {
	Pins
	level  signal.Level // as the sink knows it
	gap    int64        // index of the first sample of a gap that may become an off, or -1
	polled bool         // the sink knows the level
	held   []heldEdge   // with Absent: an off that is still to come could do away with them
}

// heldEdge is one at a time in half sample periods.
type heldEdge struct {
	halves int64
	level  signal.Level
}

// NewSampler returns a Sampler that tells sink each edge, those of one track in order of time.
func NewSampler(l Layout, sink func(track int, e signal.Edge)) (*Sampler, error) {
	switch {
	case l.Rate < 1 || l.Rate > fastest:
		return nil, fmt.Errorf("analyser: sample rate is %d Hz, want 1 to %d", l.Rate, fastest)
	case l.Bytes < 1 || l.Bytes > longestSample:
		return nil, fmt.Errorf("analyser: a sample is %d bytes, want 1 to %d", l.Bytes, longestSample)
	case len(l.Pins) == 0:
		return nil, errors.New("analyser: no channel to read")
	case l.OffAfter < 0:
		return nil, fmt.Errorf("analyser: off delay is %v, want 0s or more", l.OffAfter)
	}
	s := &Sampler{layout: l, sink: sink, tracks: make([]sampled, len(l.Pins))}
	for i, p := range l.Pins {
		sign := p.Sign != None
		if sign == (p.Positive != None) || (p.Positive != None) != (p.Negative != None) || !sign && p.Absent != None {
			return nil, fmt.Errorf("analyser: track %d: want a sign, or a positive and a negative", i)
		}
		for _, bit := range []int{p.Sign, p.Absent, p.Positive, p.Negative} {
			if bit < None || bit >= 8*l.Bytes {
				return nil, fmt.Errorf("analyser: track %d: bit %d of a sample of %d bytes", i, bit, l.Bytes)
			}
			if bit != None {
				s.mask |= 1 << bit
			}
		}
		s.tracks[i] = sampled{Pins: p, gap: -1}
	}
	if 8%l.Bytes == 0 {
		s.step = 8 / l.Bytes
		for i := range s.step {
			s.wide |= s.mask << (8 * l.Bytes * i)
		}
	}
	s.off = max(1, int64(float64(l.OffAfter)*float64(l.Rate)/float64(time.Second)+0.5))
	return s, nil
}

// Feed takes the next bytes of the stream, which may end in the middle of a sample.
func (s *Sampler) Feed(p []byte) {
	size := s.layout.Bytes
	if s.kept > 0 {
		n := copy(s.rest[s.kept:size], p)
		s.kept, p = s.kept+n, p[n:]
		if s.kept < size {
			return
		}
		s.kept = 0
		s.samples(s.rest[:size])
	}
	whole := len(p) - len(p)%size
	s.samples(p[:whole])
	s.kept = copy(s.rest[:], p[whole:])
}

// samples takes whole samples.
func (s *Sampler) samples(p []byte) {
	if !s.begun && len(p) > 0 {
		s.begun = true
		s.change(s.sample(p))
		s.index++
		p = p[s.layout.Bytes:]
	}
	if s.step > 0 {
		p = s.quickly(p)
	}
	for ; len(p) > 0; p = p[s.layout.Bytes:] {
		if v := s.sample(p); v != s.value {
			s.change(v)
		}
		s.index++
	}
	s.gaps()
}

// quickly takes eight bytes at once, in which mostly nothing changes, and leaves less than eight.
func (s *Sampler) quickly(p []byte) []byte {
	width := 8 * s.layout.Bytes
	same := s.repeated(s.value)
	for ; len(p) >= 8; p = p[8:] {
		word := binary.LittleEndian.Uint64(p) & s.wide
		for at := 0; ; {
			differs := word ^ same
			differs &= ^uint64(0) << at // what lies before has been taken
			if differs == 0 {
				break
			}
			first := bits.TrailingZeros64(differs) / width
			s.index += int64(first)
			s.change(word >> (first * width) & s.mask)
			s.index -= int64(first)
			same, at = s.repeated(s.value), first*width
		}
		s.index += int64(s.step)
	}
	return p
}

// repeated is a sample as often as it fits in 64 bits.
func (s *Sampler) repeated(v uint64) uint64 {
	for n := s.step; n > 1; n /= 2 {
		v |= v << (64 / n)
	}
	return v
}

// sample is the first sample of p, masked.
func (s *Sampler) sample(p []byte) (v uint64) {
	for i := range s.layout.Bytes {
		v |= uint64(p[i]) << (8 * i)
	}
	return v & s.mask
}

// change takes a sample that differs from the one before.
func (s *Sampler) change(v uint64) {
	s.value = v
	for i := range s.tracks {
		t := &s.tracks[i]
		if t.Positive != None {
			s.window(i, t, v)
			continue
		}
		level := signal.Negative
		switch {
		case t.Absent != None && (v>>t.Absent&1 != 0) != t.Low:
			level = signal.Off
		case v>>t.Sign&1 != 0:
			level = signal.Positive
		}
		if t.Absent != None {
			s.hold(t, level)
			continue
		}
		s.tell(i, t, s.index*2, level)
	}
}

// hold holds an edge of a track with Absent back. An off began when the voltage went, and does away with all since.
func (s *Sampler) hold(t *sampled, level signal.Level) {
	at := s.index * 2
	if level == signal.Off {
		at = max(0, 2*(s.index-s.off))
		for n := len(t.held); n > 0 && t.held[n-1].halves >= at; n-- {
			t.held = t.held[:n-1]
		}
	}
	t.held = append(t.held, heldEdge{at, level})
}

// release tells the edges of a track with Absent that come before a sample.
func (s *Sampler) release(i int, t *sampled, before int64) {
	n := 0
	for n < len(t.held) && t.held[n].halves < 2*before {
		s.tell(i, t, t.held[n].halves, t.held[n].level)
		n++
	}
	t.held = t.held[:copy(t.held, t.held[n:])]
}

// window takes a sample of a track with a comparator for each polarity. Between the two lies a gap, which is either the
// middle of a reversal or the beginning of an off: that is known when it has lasted long enough or has ended.
func (s *Sampler) window(i int, t *sampled, v uint64) {
	positive, negative := (v>>t.Positive&1 != 0) != t.Low, (v>>t.Negative&1 != 0) != t.Low
	level := signal.Off
	switch {
	case positive && negative: // no voltage points both ways
		s.contradictions++
		return
	case positive:
		level = signal.Positive
	case negative:
		level = signal.Negative
	}
	if level == signal.Off {
		if !t.polled {
			s.tell(i, t, s.index*2, level)
		} else if t.gap < 0 && t.level != signal.Off {
			t.gap = s.index
		}
		return
	}
	at := s.index * 2
	if t.gap >= 0 {
		if s.index-t.gap >= s.off {
			s.tell(i, t, t.gap*2, signal.Off)
		} else { // the zero crossing lies in the middle, as far as the two slopes are alike
			at = t.gap + s.index
		}
		t.gap = -1
	}
	s.tell(i, t, at, level)
}

// gaps makes an off of each gap that has lasted long enough, and tells the edges that no off can do away with any more.
func (s *Sampler) gaps() {
	for i := range s.tracks {
		t := &s.tracks[i]
		s.release(i, t, s.index-s.off)
		if t.gap >= 0 && s.index-t.gap >= s.off {
			s.tell(i, t, t.gap*2, signal.Off)
			t.gap = -1
		}
	}
}

// tell tells an edge, at a time in half periods, if it is one.
func (s *Sampler) tell(track int, t *sampled, halves int64, l signal.Level) {
	if t.polled && t.level == l {
		return
	}
	t.polled, t.level = true, l
	s.sink(track, signal.Edge{Time: s.time(halves), Level: l})
}

// time is that of a number of half sample periods, to the nearest nanosecond.
func (s *Sampler) time(halves int64) time.Duration {
	rate := 2 * s.layout.Rate
	return time.Duration(halves/rate)*time.Second + time.Duration((halves%rate*int64(time.Second)+rate/2)/rate)
}

// Now is the time of the next sample.
func (s *Sampler) Now() time.Duration { return s.time(2 * s.index) }

// Settled is the time before which no more edge will come.
func (s *Sampler) Settled() time.Duration {
	first := s.index
	for i := range s.tracks {
		if s.tracks[i].Absent != None {
			first = min(first, max(0, s.index-s.off))
		}
		if gap := s.tracks[i].gap; gap >= 0 {
			first = min(first, gap)
		}
	}
	return s.time(2 * first)
}

// Samples is how many samples were taken.
func (s *Sampler) Samples() int64 { return s.index }

// Level is the level that the sink knows of a track, and whether it knows one.
func (s *Sampler) Level(track int) (signal.Level, bool) {
	return s.tracks[track].level, s.tracks[track].polled
}

// Contradictions counts the samples in which a track had voltage both ways, which were left out.
func (s *Sampler) Contradictions() int64 { return s.contradictions }

// Set takes that the bits are so from the sample of a number on, which is not before the next one. It serves for what is
// not kept sample by sample.
func (s *Sampler) Set(index int64, sample uint64) {
	s.Skip(index)
	if v := sample & s.mask; v != s.value || !s.begun {
		s.begun = true
		s.change(v)
	}
}

// Skip takes that nothing changes before the sample of a number.
func (s *Sampler) Skip(index int64) {
	s.index = max(s.index, index)
	s.gaps()
}

// Finish tells what was held back: nothing more comes. A gap that might have become either stays untold.
func (s *Sampler) Finish() {
	s.gaps()
	for i := range s.tracks {
		s.release(i, &s.tracks[i], s.index+1)
	}
}
