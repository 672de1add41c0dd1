package signal

import "time"

// A Steady finds the longest time that a track stood at one polarity, between two edges or up to the end of the stream: what is
// longer than half a zero may be is DC to a decoder. It is measured from the edges alone, whatever they may mean as bits. What
// was lost counts for nothing, and the track's first level counts from the first edge on. The zero value has seen nothing.
type Steady struct {
	// Longest is the longest time so far, and At when it began. Both are zero while the track had no voltage.
	Longest, At time.Duration

	level Level
	since time.Duration
	known bool

	// While the track is off: since when, and what it was before. An off state shorter than a crossing ends nothing unless the
	// voltage comes back the other way.
	offSince  time.Duration
	beforeOff Level
}

// Edges takes the next edges of the stream, in order of time.
func (s *Steady) Edges(edges []Edge) {
	for i := range edges {
		e := &edges[i]
		if s.known && e.Level == s.level {
			continue
		}
		s.edge(e.Time, e.Level)
	}
}

func (s *Steady) edge(t time.Duration, level Level) {
	if s.known && s.level == Off && level == s.beforeOff && t-s.offSince < crossing {
		s.level = level // since stays: it never really went
		return
	}
	if s.known {
		s.until(t)
	}
	if level == Off {
		s.offSince, s.beforeOff = t, s.level
		if !s.known {
			s.beforeOff = Off
		}
	} else {
		s.since = t
	}
	s.level, s.known = level, true
}

// until counts what stands at t.
func (s *Steady) until(t time.Duration) {
	if s.level != Off && t-s.since > s.Longest {
		s.Longest, s.At = t-s.since, s.since
	}
}

// Lost says that what happened from one time to the other is not known.
func (s *Steady) Lost(from, _ time.Duration) {
	if s.known {
		s.until(from)
	}
	s.known = false
}

// Finish ends the stream at t.
func (s *Steady) Finish(t time.Duration) {
	if s.known {
		s.until(t)
	}
	s.known = false
}
