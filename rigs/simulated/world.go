package simulated

import (
	"context"
	"time"

	"bufferstop/harness/signal"
)

// Advance lets the world run to the time to, or with orByte until a byte has arrived at the host. Everything that can happen
// is one of a handful of instants; between two of them the outputs make their edges in one go.
func (r *Rig) Advance(ctx context.Context, to time.Duration, orByte bool) error {
	if r.closed {
		return errClosed
	}
	defer r.flush()
	return r.line.Run(ctx, to, orByte, r.step)
}

// step runs to the next instant at which something other than an edge happens, and lets it happen.
func (r *Rig) step(to time.Duration) {
	s := r.station
	t := min(to, r.line.ToStation.Arrives())
	for i := range r.output {
		t = min(t, s.port[i].readAt, s.port[i].retryAt, r.output[i].SampleAt())
	}
	t = min(t, max(s.wakeAt, r.now))
	// The programming track first: what ends there may wake the station.
	for i := ports - 1; i >= 0; i-- {
		r.run(i, t)
		t = min(t, max(s.wakeAt, r.now))
	}
	r.now = t
	if r.line.ToStation.Arrives() <= t {
		var b [1]byte
		r.line.ToStation.Take(t, b[:])
		s.character(t, b[0])
	}
	if s.wakeAt <= t {
		s.wakeAt = never
		s.inter.run(t)
	}
	for i := range r.output {
		o, p := &r.output[i], &s.port[i]
		if p.readAt <= t {
			s.reading(i, t, r.convert(o.Amperes(t)))
		}
		if p.retryAt <= t {
			s.retry(i, t)
		}
		if o.SampleAt() <= t {
			o.Sample(t)
		}
	}
	r.follow(t)
}

// run makes the edges of an output up to and including until, or up to the one at which the station's main loop was
// woken.
func (r *Rig) run(i int, until time.Duration) {
	g, o := &r.station.port[i].generator, &r.output[i]
	for g.next <= until && g.next <= r.station.wakeAt {
		t := g.next
		o.Edge(t, g.step())
	}
}

// follow switches a bridge off that the station has stopped driving in the middle of a packet.
func (r *Rig) follow(t time.Duration) {
	for i := range r.output {
		o := &r.output[i]
		if !r.station.port[i].generator.running && o.Driven() != signal.Off {
			o.Edge(t, signal.Off)
		}
	}
}

// convert is the station's converter: sense amplifier, 10 bits on 5 V, and its noise.
func (r *Rig) convert(amperes float64) int {
	bits := r.random.Uint64()
	sum := float64(bits&0xffff+bits>>16&0xffff+bits>>32&0xffff+bits>>48)/65536 - 2
	counts := amperes*r.gain + sum*r.settings.converterLSB*1.7320508
	return min(max(int(counts+0.5), 0), full)
}

func (r *Rig) flush() {
	for i := range r.output {
		r.output[i].Flush()
	}
}
