//go:build simavr

package firmware

import (
	"context"
	"time"

	"bufferstop/rigs/processor"
)

// slice is how far the processor runs at most before the rest of the rig is looked at: our own choice.
const slice = 4 * time.Millisecond

// Advance lets the world run to the time to, or with orByte until a byte has arrived at the host. The processor runs from
// one instant at which something reaches it from outside to the next.
func (r *Rig) Advance(ctx context.Context, to time.Duration, orByte bool) error {
	if r.closed {
		return errClosed
	}
	defer r.flush()
	return r.line.Run(ctx, to, orByte, func(to time.Duration) { r.step(min(to, r.now+slice), orByte) })
}

// step runs to the next instant at which something reaches the processor or the probe, and lets it happen.
func (r *Rig) step(to time.Duration, orByte bool) {
	t := min(to, r.line.ToStation.Arrives())
	for i := range r.output {
		t = min(t, r.output[i].SampleAt())
	}
	if r.running() {
		t = r.process(t, orByte)
	}
	r.now = max(r.now, t)
	if r.line.ToStation.Arrives() <= r.now {
		var b [1]byte
		r.line.ToStation.Take(r.now, b[:])
		if r.running() {
			m := r.board.Machine
			m.Receive(m.Cycle(), b[0])
		}
	}
	for i := range r.output {
		if r.output[i].SampleAt() <= r.now {
			r.output[i].Sample(r.now)
		}
	}
}

func (r *Rig) running() bool { return r.board != nil && r.fault == "" }

// process runs the processor up to t, or to a conversion or a byte that is sent, and returns the time that it is then.
func (r *Rig) process(t time.Duration, orByte bool) time.Duration {
	m := r.board.Machine
	why := m.Run(r.cycles(t), orByte)
	r.follow()
	r.sent = m.SentBytes(r.sent[:0])
	for _, s := range r.sent {
		r.line.ToHost.Put(r.instant(s.Cycle), []byte{s.Byte})
	}
	if why == processor.AtTime {
		return t
	}
	reached := r.instant(m.Cycle())
	switch why {
	case processor.Converting:
		m.Converted(r.millivolts(m.Channel(), reached))
	case processor.Stopped:
		r.now = max(r.now, min(reached, t))
		r.stop()
	}
	return min(reached, t)
}

// follow tells the outputs what the pins have made of them.
func (r *Rig) follow() {
	r.edges = r.board.Edges(r.edges[:0])
	for _, e := range r.edges {
		r.output[e.Output].Edge(r.instant(e.Cycle), e.Level)
	}
}

// millivolts is what a channel of the converter sees. One that is not wired sees nothing.
func (r *Rig) millivolts(channel int, t time.Duration) uint32 {
	for i, o := range r.file.Outputs {
		if o.Channel == channel {
			return o.Millivolts(r.output[i].Amperes(t))
		}
	}
	return 0
}

// stop notes how the firmware came to its end. Its pins stay as they are, which is the worst that can happen to a track.
func (r *Rig) stop() { r.fault = r.board.Fault(r.now - r.base) }

func (r *Rig) flush() {
	for i := range r.output {
		r.output[i].Flush()
	}
}
