package simulated

import (
	"context"
	"time"

	"bufferstop/harness/signal"
)

// until tells advance what ends it before its time.
type until uint8

const (
	untilTime until = iota
	untilByte       // or when a byte has arrived at the host
)

// contextInterval is how much of the rig's time passes between two looks at the context.
const contextInterval = 4 * time.Millisecond

// advance lets the world run to the time to, or to what ends it before. Everything that can happen is one of a handful
// of instants; between two of them the outputs make their edges in one go.
func (r *Rig) advance(ctx context.Context, to time.Duration, end until) error {
	if r.closed {
		return errClosed
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	defer r.flush()
	look := r.now + contextInterval
	for r.now < to {
		stop := to
		if end == untilByte {
			stop = min(stop, r.line.toHost.arrives())
			if stop <= r.now {
				return nil
			}
		}
		r.step(stop)
		if r.now >= look {
			if err := ctx.Err(); err != nil {
				return err
			}
			look = r.now + contextInterval
		}
	}
	return nil
}

// step runs to the next instant at which something other than an edge happens, and lets it happen.
func (r *Rig) step(to time.Duration) {
	s := r.station
	t := min(to, r.line.toStation.arrives())
	for i := range r.output {
		t = min(t, s.port[i].readAt, s.port[i].retryAt, r.output[i].probe.sampleAt)
	}
	t = min(t, max(s.wakeAt, r.now))
	// The programming track first: what ends there may wake the station.
	for i := ports - 1; i >= 0; i-- {
		r.output[i].run(t, &s.wakeAt)
		t = min(t, max(s.wakeAt, r.now))
	}
	r.now = t
	if r.line.toStation.arrives() <= t {
		var b [1]byte
		r.line.toStation.take(t, r.line.character, b[:])
		s.character(t, b[0])
	}
	if s.wakeAt <= t {
		s.wakeAt = never
		s.inter.run(t)
	}
	for i := range r.output {
		o, p := &r.output[i], &s.port[i]
		if p.readAt <= t {
			s.reading(i, t, r.convert(o.amperes(t)))
		}
		if p.retryAt <= t {
			s.retry(i, t)
		}
		if o.probe.sampleAt <= t {
			o.probe.sample(t, o.amperes(t))
		}
	}
	r.follow(t)
}

// follow switches a bridge off that the station has stopped driving in the middle of a packet.
func (r *Rig) follow(t time.Duration) {
	for i := range r.output {
		o := &r.output[i]
		if !o.generator.running && o.driven != signal.Off {
			o.drive(t, signal.Off)
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
		r.output[i].probe.flush()
	}
}
