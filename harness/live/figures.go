package live

import (
	"time"

	"bufferstop/harness/signal"
)

// Figures are one measured quantity over some time, in nanoseconds.
type Figures struct {
	Count, Outside int64
	Least, Most    int64 // zero while Count is zero
	sum            float64
}

// Mean is the arithmetic mean, zero when nothing was measured.
func (f Figures) Mean() float64 {
	if f.Count == 0 {
		return 0
	}
	return f.sum / float64(f.Count)
}

// Margin is how far the worst value stays inside a limit: below zero when it is outside. A lower limit of zero is none:
// nothing that is measured can be below.
func (f Figures) Margin(l signal.Limit) int64 {
	above := l.High - f.Most
	if l.Low <= 0 {
		return above
	}
	return min(f.Least-l.Low, above)
}

func figuresOf(d *signal.Distribution) Figures {
	return Figures{Count: d.Count, Outside: d.Outside, Least: d.Min, Most: d.Max, sum: d.Mean() * float64(d.Count)}
}

func (f *Figures) add(o Figures) {
	if o.Count == 0 {
		return
	}
	if f.Count == 0 || o.Least < f.Least {
		f.Least = o.Least
	}
	if f.Count == 0 || o.Most > f.Most {
		f.Most = o.Most
	}
	f.Count += o.Count
	f.Outside += o.Outside
	f.sum += o.sum
}

// Recent is what was measured in the last seconds.
type Recent struct {
	Span             time.Duration
	Packets, Invalid int64
	// OneHalf, ZeroHalf and OneDifference are as in signal.Statistics. The half-bit under way when one second gave way to the
	// next is not among them.
	OneHalf, ZeroHalf, OneDifference Figures
}

// PacketRate and HalfBitRate are per second, zero over no time.
func (r Recent) PacketRate() float64 { return perSecond(r.Packets, r.Span) }

// HalfBitRate is how many half-bits there were in a second.
func (r Recent) HalfBitRate() float64 { return perSecond(r.OneHalf.Count+r.ZeroHalf.Count, r.Span) }

func perSecond(n int64, span time.Duration) float64 {
	if span <= 0 {
		return 0
	}
	return float64(n) / span.Seconds()
}

func (r *Recent) add(o *Recent) {
	r.Packets += o.Packets
	r.Invalid += o.Invalid
	r.OneHalf.add(o.OneHalf)
	r.ZeroHalf.add(o.ZeroHalf)
	r.OneDifference.add(o.OneDifference)
}
