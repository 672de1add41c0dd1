//go:build simavr

package box

import (
	"time"

	"bufferstop/rigs/processor"
)

// half is what the two sides have in common.
type half struct {
	name     string
	line     *side
	clock    clock
	base     time.Duration // when the processor's cycle 0 was
	resets   int           // that have been told
	lastByte time.Duration // when the last byte from the host had arrived
}

func (h *half) cycles(t time.Duration) uint64      { return h.clock.cycles(max(t-h.base, 0)) }
func (h *half) instant(cycle uint64) time.Duration { return h.base + h.clock.instant(cycle) }

// hear passes on to the processor what arrives up to t, each character at its cycle.
func (h *half) hear(m *processor.Machine, t time.Duration) {
	q := &h.line.ToStation
	for at := q.Arrives(); at <= t; at = q.Arrives() {
		var b [1]byte
		q.Take(at, b[:])
		m.Receive(h.cycles(at), b[0])
		h.lastByte = at
	}
}

// say puts on the line what the processor has sent. The slice is scratch.
func (h *half) say(m *processor.Machine, scratch []processor.Sent) []processor.Sent {
	scratch = m.SentBytes(scratch[:0])
	for _, s := range scratch {
		h.line.ToHost.Put(h.instant(s.Cycle), []byte{s.Byte})
	}
	return scratch
}
