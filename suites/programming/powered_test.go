package programming

import (
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
)

// On a track that has power already a station begins with three resets: S-9.2.3 E (July 2012) has the 20 packets after power on.
func TestATrackThatWasLeftOnNeedsNoPowerOnCycle(t *testing.T) {
	const each = 8 * time.Millisecond
	w := new(harness.Watch)
	now := time.Duration(0)
	off := func() {
		w.Unusable = append(w.Unusable, signal.Unusable{Start: now, End: now + time.Second, Reason: signal.ReasonOff})
		now += time.Second
	}
	packets := func(n int, service bool) {
		for range n {
			w.Packets = append(w.Packets, harness.Heard{Start: now, End: now + each, Bytes: dcc.Seal(0, 0), Service: service})
			now += each
		}
	}
	operation := func(resets int) {
		packets(resets, false)
		packets(5, true)
		packets(2, false)
	}
	operation(3) // on since before the watch
	assert.Zero(t, sincePowerOn(w).Count)
	off()
	operation(23)
	operation(3)
	off()
	operation(21)
	before := sincePowerOn(w)
	assert.Equal(t, 2, int(before.Count))
	assert.Equal(t, []float64{21, 23}, []float64{before.Min, before.Max})
}
