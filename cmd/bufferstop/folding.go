package main

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/live"
	"bufferstop/harness/signal"
)

// A folding knows what everybody was last told. A station says everything many times; what it says for the first time, or
// again after a pause, is news. Its memory is bounded by the number of recipients that there can be.
type folding struct {
	told   map[live.Recipient]saying
	folded int64
}

type saying struct {
	bytes  [dcc.MaxPacketBytes]byte
	length int
	at     time.Duration
}

// repeats reports whether the packet only says again what its recipient was told last. Without folding nothing does.
func (f *folding) repeats(p *signal.Packet) bool {
	if f == nil {
		return false
	}
	who := live.RecipientOf(p.Bytes)
	now := saying{length: len(p.Bytes), at: p.Start}
	copy(now.bytes[:], p.Bytes)
	last, known := f.told[who]
	f.told[who] = now
	if !known || last.bytes != now.bytes || last.length != now.length || now.at-last.at > live.RefreshWithin {
		return false
	}
	f.folded++
	return true
}

func (f *folding) count() int64 {
	if f == nil {
		return 0
	}
	return f.folded
}
