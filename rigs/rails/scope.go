package rails

import (
	"math"
	"math/rand/v2"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/voltage"

	"periph.io/x/conn/v3/physic"
)

// scope is the oscilloscope of a probe: it traces changes of polarity while it is armed.
type scope struct {
	Probe
	random *rand.Rand
	armed  int // how often it was
	left   int // changes to trace
	take   func(voltage.Trace)

	last    time.Duration // of the latest change of any kind
	pending bool          // a change waits until it is sure to stand alone
	at      time.Duration
	swing   swing
}

// beside is how long the voltage has to stand before and after a change for it to be traced: less than half a one (S-9.1 A, 2020),
// and less than the 26 µs for which the signal goes on before a cutout (S-9.2 footnote 3, July 2004).
const beside = 24 * time.Microsecond

// arm has the next n changes traced.
func (s *scope) arm(n int, take func(voltage.Trace)) (cancel func()) {
	s.armed++
	mine := s.armed
	s.left, s.take, s.pending, s.last = n, take, false, never
	return func() {
		if s.armed == mine { // another has it now
			s.left = 0
		}
	}
}

// edge takes a change of the bridge.
func (s *scope) edge(o *Output, t time.Duration, level signal.Level) {
	if level == o.driven {
		return
	}
	if s.pending && t-s.at >= beside {
		s.left--
		s.take(s.trace())
	}
	s.pending = level == -o.driven && s.last != never && t-s.last >= beside
	s.last = t
	if s.pending {
		s.at = t
		s.swing = o.circuit.swing(level == signal.Positive, o.demand(t), o.conductance)
	}
}

// trace is what the converter makes of the change.
func (s *scope) trace() voltage.Trace {
	n := int(2*beside/s.VoltInterval) + 1
	start := s.at - beside
	t := voltage.Trace{Start: start, Interval: s.VoltInterval, Volts: make([]physic.ElectricPotential, n)}
	for i, v := range s.swing.trace(float64(-beside), float64(s.VoltInterval), n) {
		noisy := v*float64(physic.Volt) + s.random.NormFloat64()*float64(s.VoltNoise)
		step := max(float64(s.VoltStep), 1)
		t.Volts[i] = physic.ElectricPotential(math.Round(noisy/step) * step)
	}
	return t
}
