package current

import (
	"time"

	"periph.io/x/conn/v3/physic"
)

// A Meter integrates the current over the samples that it was given. The zero value is ready, and ready again after
// Reset. Between two samples it takes the current for a straight line, and integrates that line exactly.
type Meter struct {
	count       int64
	first, last Sample
	peak        Sample
	charge      float64 // C
	square      float64 // A²s
}

// Sample takes the next sample. Times never go back.
func (m *Meter) Sample(s Sample) {
	if m.count == 0 {
		m.first, m.peak = s, s
	} else {
		seconds := (s.Time - m.last.Time).Seconds()
		a, b := amperes(m.last.Current), amperes(s.Current)
		m.charge += (a + b) / 2 * seconds
		m.square += (a*a + a*b + b*b) / 3 * seconds
		if s.Current > m.peak.Current {
			m.peak = s
		}
	}
	m.count++
	m.last = s
}

// Samples takes the next samples.
func (m *Meter) Samples(samples []Sample) {
	for _, s := range samples {
		m.Sample(s)
	}
}

// Reset begins anew.
func (m *Meter) Reset() { *m = Meter{} }

// Count is the number of samples.
func (m *Meter) Count() int64 { return m.count }

// Span is the time from the first sample to the last.
func (m *Meter) Span() time.Duration { return m.last.Time - m.first.Time }

// Peak is the largest sample, the first of several; zero before the first.
func (m *Meter) Peak() Sample { return m.peak }

// Mean is the mean over time. Over no time it is the last sample.
func (m *Meter) Mean() physic.ElectricCurrent {
	if m.Span() == 0 {
		return m.last.Current
	}
	return physic.ElectricCurrent(m.charge / m.Span().Seconds() * float64(physic.Ampere))
}

// Charge is the integral of the current, in coulombs (ampere-seconds).
func (m *Meter) Charge() float64 { return m.charge }

// SquareIntegral is I²t, the integral of the square of the current, in ampere² seconds: what heats a wire or a bridge
// whose resistance is known.
func (m *Meter) SquareIntegral() float64 { return m.square }

func amperes(i physic.ElectricCurrent) float64 { return float64(i) / float64(physic.Ampere) }
