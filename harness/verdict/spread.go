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
