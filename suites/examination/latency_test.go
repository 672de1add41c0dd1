package examination

import (
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// delaysTo are so many delays of 1 ms, 2 ms and so on, in no order.
func delaysTo(n int) (all []Delay) {
	for i := range n {
		ms := time.Duration((7*i)%n+1) * time.Millisecond
		all = append(all, Delay{Took: ms, At: 2 * ms})
	}
	return all
}

func TestAQuantileIsTheNearestRank(t *testing.T) {
	for part, want := range map[float64]time.Duration{0: 1, 0.5: 20, 0.51: 21, 0.95: 38, 1: 40} {
		assert.Equal(t, Delay{Took: want * time.Millisecond, At: 2 * want * time.Millisecond}, Quantile(delaysTo(40), part), "%v", part)
	}
	assert.Equal(t, Delay{Took: 5}, Quantile([]Delay{{Took: 5}}, 0.95))
}

func TestALatencyIsJudgedByWhatIsDeclaredAndToldInAnyCase(t *testing.T) {
	const ms = time.Millisecond
	for name, c := range map[string]struct {
		p50, p95, greatest time.Duration
		want               verdict.Verdict
	}{
		"nothing declared":       {0, 0, 0, verdict.NotClaimed},
		"only the greatest":      {0, 0, 41 * ms, verdict.Pass},
		"all of them kept":       {21 * ms, 39 * ms, 41 * ms, verdict.Pass},
		"the median is too late": {19 * ms, 39 * ms, 41 * ms, verdict.Fail},
		"95 of 100 are too late": {0, 37 * ms, 41 * ms, verdict.Fail},
		"one is too late":        {21 * ms, 39 * ms, 39 * ms, verdict.Fail},
	} {
		x := checkOn(t, "RATE-009")
		x.Latency(delaysTo(40), c.p50, c.p95, c.greatest)
		assert.Equal(t, c.want, x.Result.Verdict, name)
		require.Len(t, x.Result.Measurements, 3, name)
		for i, want := range []time.Duration{20 * ms, 38 * ms, 40 * ms} {
			assert.EqualValues(t, want, x.Result.Measurements[i].Value, name)
		}
		assert.Equal(t, c.want == verdict.NotClaimed, x.Result.Reason != "", name)
		assert.Equal(t, c.want == verdict.Fail, len(x.Result.Failures) > 0, name)
	}
}

func TestThereAreAddressesForManyLocomotives(t *testing.T) {
	x := checkOn(t, "RATE-006")
	x.Session = &harness.Session{Rig: x.Rig, File: &station.File{Claims: station.Claims{SpeedSteps: []dcc.Steps{dcc.Steps28},
		ShortAddresses: station.Between(1, 127), LongAddresses: station.Between(128, 10239)}}}
	addresses := x.Locomotives(150)
	require.Len(t, addresses, 150)
	assert.Equal(t, []dcc.Address{dcc.Short(3), dcc.Long(1000), dcc.Short(16), dcc.Long(2333)}, addresses[:4])
	seen := map[dcc.Address]bool{}
	for _, a := range addresses {
		assert.False(t, seen[a], "%v twice", a)
		assert.True(t, x.File.Claims.Address(a), "%v", a)
		assert.False(t, !a.Long && a.Number >= 112, "%v looks like service mode", a)
		seen[a] = true
	}
}
