package examination

import (
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
)

const ms = time.Millisecond

// heard is a watch of 20 ms with two packets and an off state from 300 µs to 460 µs after the first.
func heard(off signal.Unusable) *harness.Watch {
	return &harness.Watch{
		Begun: 0, Ended: 20 * ms,
		Packets:  []harness.Heard{{Start: 1 * ms, StartBit: 3 * ms, End: 6 * ms}, {Start: 7 * ms, StartBit: 9 * ms, End: 12 * ms}},
		Unusable: []signal.Unusable{{Start: 0, End: 1 * ms, Reason: signal.ReasonCutAtStart}, off},
	}
}

func check(cutout bool) *Check {
	return &Check{Session: &harness.Session{File: &station.File{Claims: station.Claims{Cutout: cutout}}}}
}

func TestACutoutIsADisturbanceOnlyForAStationThatDoesNotClaimIt(t *testing.T) {
	cutout := signal.Unusable{Start: 6*ms + 30*time.Microsecond, End: 6*ms + 470*time.Microsecond, Reason: signal.ReasonOff}
	assert.Empty(t, check(true).Disturbed(heard(cutout)))
	assert.Equal(t, []signal.Unusable{cutout}, check(false).Disturbed(heard(cutout)))
	// One at a wrong time is one all the same: its times are judged elsewhere.
	for _, u := range []signal.Unusable{
		{Start: 6*ms + 10*time.Microsecond, End: 6*ms + 400*time.Microsecond, Reason: signal.ReasonOff},
		{Start: 6*ms + 60*time.Microsecond, End: 6*ms + 900*time.Microsecond, Reason: signal.ReasonOff},
	} {
		assert.Empty(t, check(true).Disturbed(heard(u)))
		assert.Equal(t, []Cutout{{After: 0, Packet: 6 * ms, Begins: u.Start, Ends: u.End}}, Cutouts(heard(u)))
	}
	n, first := check(false).Offs(heard(cutout))
	assert.Equal(t, 1, n)
	assert.Equal(t, cutout.Start, first)
}

func TestAnOffStateThatIsNoCutoutDisturbsAlsoWithTheClaim(t *testing.T) {
	for what, off := range map[string]signal.Unusable{
		"long after the end bit": {Start: 6*ms + 110*time.Microsecond, End: 6*ms + 400*time.Microsecond, Reason: signal.ReasonOff},
		"too long":               {Start: 6*ms + 30*time.Microsecond, End: 7*ms + 10*time.Microsecond, Reason: signal.ReasonOff},
		"within a packet":        {Start: 4 * ms, End: 4*ms + 200*time.Microsecond, Reason: signal.ReasonOff},
	} {
		n, _ := check(true).Offs(heard(off))
		assert.Equal(t, 1, n, what)
		assert.Empty(t, Cutouts(heard(off)), what)
	}
}

func TestSilenceAtTheEndsOfAWatchIsAnInterval(t *testing.T) {
	between := Intervals(heard(signal.Unusable{}))
	assert.Equal(t, int64(3), between.Count)
	assert.Equal(t, float64(11*ms), between.Max, "from the last start bit to the end of the watch")
	assert.Equal(t, float64(3*ms), between.Min)
}

func TestATrackWithoutPacketsIsOneLongInterval(t *testing.T) {
	between := Intervals(&harness.Watch{Begun: 1 * ms, Ended: 41 * ms})
	assert.Equal(t, float64(40*ms), between.Max)
}
