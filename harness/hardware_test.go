package harness

import (
	"testing"
	"time"

	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
)

func TestMishapsAreCountedAndWorded(t *testing.T) {
	assert.Empty(t, Mishaps{}.String())
	before := Mishaps{Underruns: 1, Missed: 2}
	now := Mishaps{Underruns: 3, Refused: 1, Opened: 1, Reconnected: 1, Missed: 2, Clipped: 4}
	assert.Equal(t, Mishaps{Underruns: 2, Refused: 1, Opened: 1, Reconnected: 1, Clipped: 4}, now.Since(before))
	assert.Equal(t, "the load followed the fake decoder too late (2 times); the probe refused a command", Mishaps{Underruns: 2, Refused: 1}.String())
}

// still is a track that is not Dated.
type still struct{ Track }

type dated struct{ Track }

func (dated) Changed() time.Duration { return time.Second }

func TestATrackThatDoesNotTellWhenItChangedDidSoNow(t *testing.T) {
	assert.Equal(t, time.Minute, Changed(still{}, time.Minute))
	assert.Equal(t, time.Second, Changed(dated{}, time.Minute))
}

func TestAWatchPassesOnWhatTheProbeLost(t *testing.T) {
	w := &Watch{}
	w.receiver = signal.NewReceiver(signal.StationReading(), watchSink{w})
	w.Edges(edgesFrom(0, 10))
	w.Lost(480*time.Microsecond, 2480*time.Microsecond)
	w.Edges(edgesFrom(50, 10))
	w.receiver.Finish(3 * time.Millisecond)
	assert.Equal(t, 2*time.Millisecond, w.LostTime)
	reasons := map[signal.Reason]bool{}
	for _, u := range w.Unusable {
		reasons[u.Reason] = true
	}
	assert.True(t, reasons[signal.ReasonLost], "%v", w.Unusable)
	assert.False(t, reasons[signal.ReasonNoBand], "a lost stretch is no long half-bit")
	var listener any = w
	_, wants := listener.(LossListener)
	assert.True(t, wants)
	_, wants = any(new(Tape)).(LossListener)
	assert.True(t, wants)
}
