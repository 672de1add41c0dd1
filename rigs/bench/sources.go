package bench

import (
	"math"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/signal"

	"periph.io/x/conn/v3/physic"
)

// A decoderSource is a fake decoder whose demand a load follows.
type decoderSource struct {
	*fakedecoder.Decoder
	ahead fakedecoder.Forecast
}

func newDecoderSource(d *fakedecoder.Decoder) *decoderSource { return &decoderSource{Decoder: d} }

func (s *decoderSource) forecast() demand {
	s.Decoder.Forecast(&s.ahead)
	return &s.ahead
}

// A capacitor is an empty capacitor that is laid across the rails: a current that starts at peak when the track has voltage,
// and falls exponentially. It charges once.
type capacitor struct {
	peak    float64 // amperes
	tau     time.Duration
	since   time.Duration
	waiting bool // for voltage
}

const (
	// capacitorPieces is into how many pieces a time constant is cut: a straight line over one of them is at most 0.05 % of the
	// peak off, as that of fakedecoder is.
	capacitorPieces = 16
	// charged is when the current counts as nothing, in time constants: 1/5000 of the peak.
	charged = 8.5
)

func (c *capacitor) Edge(e signal.Edge) {
	if c.waiting && e.Level != signal.Off {
		c.since, c.waiting = e.Time, false
	}
}

func (c *capacitor) end() time.Duration { return c.since + time.Duration(charged*float64(c.tau)) }

// Current is what flows at t.
func (c *capacitor) Current(t time.Duration) physic.ElectricCurrent {
	if c.waiting || t < c.since || t >= c.end() {
		return 0
	}
	return physic.ElectricCurrent(c.peak * math.Exp(-float64(t-c.since)/float64(c.tau)) * float64(physic.Ampere))
}

// NextChange is the next end of a piece after t.
func (c *capacitor) NextChange(t time.Duration) (time.Duration, bool) {
	if c.waiting || t >= c.end() {
		return 0, false
	}
	if t < c.since {
		return c.since, true
	}
	piece := max(c.tau/capacitorPieces, 1)
	return min(c.since+((t-c.since)/piece+1)*piece, c.end()), true
}

func (c *capacitor) forecast() demand { return c }
