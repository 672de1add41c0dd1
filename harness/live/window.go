package live

import (
	"time"

	"bufferstop/harness/signal"
)

// RecentSpan is how far back Recent looks, the second under way included. Our own choice: as long as one looks.
const RecentSpan = seconds * time.Second

// seconds is how many of them are kept.
const seconds = 5

// A window measures the last seconds of a signal, second by second of the rig's clock. It has a receiver of its own whose
// statistics begin anew with each second; that of the track goes on counting.
type window struct {
	receiver *signal.Receiver
	second   int64           // the one under way
	behind   [seconds]Recent // those before it, by their number
	from     time.Duration   // nothing was seen before
	begun    bool
}

func newWindow() window {
	return window{receiver: signal.NewReceiver(signal.StationReading(), nil)}
}

// next is when the second under way is over.
func (w *window) next() time.Duration { return time.Duration(w.second+1) * time.Second }

// at goes on to the second in which t lies.
func (w *window) at(t time.Duration) {
	second := int64(t / time.Second)
	if !w.begun {
		w.begun, w.second, w.from = true, second, t
	}
	if second <= w.second {
		return
	}
	w.behind[w.second%seconds] = w.underway()
	for skipped := max(w.second+1, second-seconds); skipped < second; skipped++ {
		w.behind[skipped%seconds] = Recent{}
	}
	w.receiver.ResetStatistics()
	w.second = second
}

// underway is what was measured in the second under way.
func (w *window) underway() Recent {
	s := w.receiver.Statistics()
	return Recent{
		Packets: s.Packets, Invalid: s.Invalid,
		OneHalf: figuresOf(&s.OneHalf), ZeroHalf: figuresOf(&s.ZeroHalf), OneDifference: figuresOf(&s.OneDifference),
	}
}

// recent adds up the last seconds until now, which lies in the second under way.
func (w *window) recent(now time.Duration) Recent {
	r := w.underway()
	for second := max(w.second-seconds+1, 0); second < w.second; second++ {
		r.add(&w.behind[second%seconds])
	}
	from := max(w.from, time.Duration(w.second-seconds+1)*time.Second)
	r.Span = max(now-from, 0)
	return r
}

// clear forgets what was measured until now.
func (w *window) clear(now time.Duration) {
	w.receiver.ResetStatistics()
	w.behind = [seconds]Recent{}
	w.from = now
}
