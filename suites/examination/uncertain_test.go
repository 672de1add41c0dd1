package examination

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"bufferstop/harness"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
)

// stated is a rig that is nothing but its description.
type stated struct {
	harness.Rig
	harness.Description
}

func (s stated) Describe() harness.Description { return s.Description }

// checkOn starts the check of a requirement on a rig with these budgets.
func checkOn(t *testing.T, id string, budgets ...uncertainty.Budget) *Check {
	t.Helper()
	for _, q := range catalogue.All() {
		if q.ID == id {
			d := harness.Description{EdgeUncertainty: 60, CurrentUncertainty: 2 * physic.MilliAmpere, Budgets: budgets}
			return New(&harness.Session{Rig: stated{Description: d}, File: &station.File{}}, q, station.Main)
		}
	}
	t.Fatalf("no requirement %s", id)
	return nil
}

// halves is a distribution of one-half-bits.
func halves(least, most time.Duration) *signal.Distribution {
	var s signal.Distribution
	s.Count, s.Min, s.Max = 2, int64(least), int64(most)
	return &s
}

// edges is a budget of edge times: so much for all values, so many ppm of each, and so much repeatability.
func edges(fixed, ppm, scatter float64) uncertainty.Budget {
	return uncertainty.Budget{Quantity: uncertainty.EdgeTime, Unit: "ns", K: uncertainty.Coverage, Components: []uncertainty.Component{
		uncertainty.Deviation("fixed", fixed/2, ""), uncertainty.Deviation("clock", ppm/2/1e6, "").Proportional(), uncertainty.Scatter("scatter", scatter, "")}}
}

func TestAnUncertaintyThatGrowsWithTheTimeDecidesALongTimeAndNotAShortOne(t *testing.T) {
	// A half of a zero may last 95 to 9900 µs. 9.88 ms is inside by 20 µs, and 96 µs by 1 µs.
	for ppm, want := range map[float64]verdict.Verdict{0: verdict.Pass, 5000: verdict.ConditionalPass} {
		x := checkOn(t, "SIG-003", edges(60, ppm, 0))
		x.Spread("zero half-bit", halves(96*time.Microsecond, 9880*time.Microsecond))
		m := x.Result.Measurements[0]
		assert.Equal(t, want, x.Result.Verdict, "%v ppm", ppm)
		assert.Equal(t, uncertainty.EdgeTime, m.Budget)
		if ppm > 0 {
			assert.InDelta(t, 9.88e6, m.Value, 0, "less margin at the short end, but enough")
			assert.InDelta(t, 50_000, m.Uncertainty, 1e-6, "49.4 µs, rounded up to two digits")
		} else {
			assert.InDelta(t, 60, m.Uncertainty, 1e-9)
		}
	}
}

func TestARigWithoutBudgetsHasTheUncertaintyThatItStates(t *testing.T) {
	x := checkOn(t, "SIG-001")
	x.Spread("one half-bit", halves(55_030, 58_000))
	assert.Equal(t, verdict.ConditionalPass, x.Result.Verdict)
	assert.InDelta(t, 60, x.Result.Measurements[0].Uncertainty, 1e-9)
}

func TestARigThatRepeatsBadlyGivesNoVerdict(t *testing.T) {
	// The tolerance is 6 µs; 30 % of it are 1.8 µs, six times 300 ns.
	for scatter, want := range map[float64]verdict.Verdict{299: verdict.Pass, 301: verdict.Inconclusive} {
		for _, value := range []time.Duration{58_000, 80_000} { // good or bad makes no difference
			x := checkOn(t, "SIG-001", edges(10, 0, scatter))
			x.Spread("one half-bit", halves(value, value))
			if want == verdict.Pass && value > 61_000 {
				assert.Equal(t, verdict.Fail, x.Result.Verdict)
				continue
			}
			require.Equal(t, want, x.Result.Verdict, "%v ns, %v", scatter, value)
			if want == verdict.Inconclusive {
				assert.Equal(t, "one half-bit: the rig repeats a measurement only to a standard deviation of 301 ns; six of these take 30 % of the tolerance of 6 µs, and above 30 % no verdict is given (measurement system analysis, common practice)",
					x.Result.Reason)
				assert.Empty(t, x.Result.Failures)
				assert.InDelta(t, float64(value), x.Result.Measurements[0].Value, 0, "what was measured stays")
			}
		}
	}
}

func TestAnUpperBoundAloneHasATolerance(t *testing.T) {
	three, ten := 3.0, 10.0
	assert.True(t, tooCoarse(0.16, verdict.Limit{Max: &three}))
	assert.False(t, tooCoarse(0.14, verdict.Limit{Max: &three}))
	assert.False(t, tooCoarse(1e9, verdict.Limit{Min: &three}), "there is no end of room above")
	assert.True(t, tooCoarse(0.36, verdict.Limit{Min: &three, Max: &ten}))
	assert.False(t, tooCoarse(0.34, verdict.Limit{Min: &three, Max: &ten}))
	assert.False(t, tooCoarse(0, verdict.Exactly(3, "")), "a count")
	assert.False(t, tooCoarse(1, verdict.Limit{}))
}

func TestTheDifferenceOfTwoHalvesIsLessCertainThanOne(t *testing.T) {
	model := uncertainty.Edges{Period: 62.5, Noise: 10, WholeNanoseconds: true}
	x := checkOn(t, "SIG-002", uncertainty.EdgeTimes(model), uncertainty.HalfDifferences(model))
	x.SpreadOfDifferences("difference of the halves of a one", halves(0, 2910))
	assert.InDelta(t, 110, x.Result.Measurements[0].Uncertainty, 1e-6, "101 ns, √3 times that of a time between two edges, rounded up to two digits")
	assert.Equal(t, verdict.ConditionalPass, x.Result.Verdict)
}
