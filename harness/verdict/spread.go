package verdict

import "time"

// Add counts one more value, seen at a time.
func (s *Spread) Add(value float64, at time.Duration) {
	if s.Count == 0 || value < s.Min {
		s.Min, s.MinAt = value, at
	}
	if s.Count == 0 || value > s.Max {
		s.Max, s.MaxAt = value, at
	}
	s.Count++
	s.Mean += (value - s.Mean) / float64(s.Count)
}

// Join counts the values of another spread too.
func (s *Spread) Join(other Spread) {
	if other.Count == 0 {
		return
	}
	if s.Count == 0 || other.Min < s.Min {
		s.Min, s.MinAt = other.Min, other.MinAt
	}
	if s.Count == 0 || other.Max > s.Max {
		s.Max, s.MaxAt = other.Max, other.MaxAt
	}
	s.Count += other.Count
	s.Mean += (other.Mean - s.Mean) * float64(other.Count) / float64(s.Count)
}
