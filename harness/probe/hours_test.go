package probe

import (
	"os"
	"runtime"
	"testing"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A tally is a sink that counts.
type tally struct {
	edges, samples, lost int
	complete             time.Duration
	back                 bool
}

func (s *tally) Edges(_ int, e []signal.Edge)           { s.edges += len(e) }
func (s *tally) Samples(_ int, c []current.Sample)      { s.samples += len(c) }
func (s *tally) Lost(int, time.Duration, time.Duration) { s.lost++ }
func (s *tally) Complete(until time.Duration) {
	s.back = s.back || until < s.complete
	s.complete = until
}
func (s *tally) Event(Event) {}

// TestHoursTakeConstantMemory runs 24 hours with BUFFERSTOP_PROBE_HOURS=24 and half an hour otherwise, one minute with
// -short: the ticks of 32 bits wrap every 268 s, so that each has some wraps in it but the last.
func TestHoursTakeConstantMemory(t *testing.T) {
	span := 30 * time.Minute
	if testing.Short() {
		span = time.Minute
	}
	if hours := os.Getenv("BUFFERSTOP_PROBE_HOURS"); hours != "" {
		var err error
		span, err = time.ParseDuration(hours + "h")
		require.NoError(t, err)
	}
	f := newFarEnd(1, 2*time.Millisecond, testHello())
	f.step = 4 * time.Millisecond
	for _, c := range f.courses {
		c.brief = true
	}
	var s tally
	c := attach(t, f, Options{Stretch: 4 * time.Millisecond, SampleInterval: 20 * time.Millisecond, QueueBytes: 256 << 10})
	f.run(t, c, 30*time.Second, &s)
	heap := func() int64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	before, began := heap(), time.Now()
	highest := before
	parts := 10
	for range parts {
		f.run(t, c, span/time.Duration(parts), &s)
		highest = max(highest, heap())
	}
	t.Logf("%v in %v: %d edges, heap %d kB before, at most %d kB", span, time.Since(began).Round(time.Millisecond), s.edges, before>>10, highest>>10)
	assert.Less(t, highest-before, int64(1<<20))
	assert.False(t, s.back)
	assert.Zero(t, s.lost)
	h := c.Health()
	assert.Zero(t, h.FramesLost+h.Broken.Total()+h.Malformed+h.Implausible+h.Dropped)
	assert.Zero(t, h.Restarts+h.Reconnects)
	assert.InDelta(t, f.Now(), s.complete, float64(20*time.Millisecond))
	assert.InDelta(t, f.courses[0].count+f.courses[1].count, s.edges, 100)
	assert.InDelta(t, float64(s.complete), float64(c.Clock().Span), float64(span)/4+1e9, "the fit reaches back to the beginning")
}
