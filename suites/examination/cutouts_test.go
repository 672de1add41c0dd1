package examination

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"periph.io/x/conn/v3/physic"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"
)

func TestWhatIsSampledInACutoutSaysNothingOfTheLoad(t *testing.T) {
	w := heard(signal.Unusable{Start: 6*ms + 30*time.Microsecond, End: 6*ms + 470*time.Microsecond, Reason: signal.ReasonOff})
	for at := 5 * ms; at < 8*ms; at += 200 * time.Microsecond {
		i := physic.Ampere
		if at > 6*ms && at < 6*ms+470*time.Microsecond {
			i = 0
		}
		w.Currents = append(w.Currents, current.Sample{Time: at, Current: i})
	}
	all := check(true).Carrying(w)
	assert.Len(t, all, len(w.Currents)-2)
	for _, s := range all {
		assert.Equal(t, physic.Ampere, s.Current)
	}
	assert.Len(t, check(false).Carrying(w), len(w.Currents), "without the claim it is what the track carries")
	assert.Equal(t, ms, check(true).LongestCutout())
	assert.Zero(t, check(false).LongestCutout())
}
