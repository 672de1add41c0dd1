package uncertainty_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bufferstop/harness/uncertainty"
)

// The end gauge of JCGM 100:2008 H.1: contributions of 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2 degrees of freedom make
// uc = 32 nm with 16.7 of them (H.1.5, H.1.6).
func TestTheEndGaugeOfTheGuideComesOutAsPrinted(t *testing.T) {
	b := uncertainty.Budget{K: uncertainty.Coverage}
	for _, c := range []struct{ u, freedom float64 }{{25, 18}, {9.7, 25.6}, {2.9, 50}, {16.6, 2}} {
		component := uncertainty.Deviation("", c.u, "")
		component.Freedom = c.freedom
		b.Components = append(b.Components, component)
	}
	assert.InDelta(t, 31.7, b.Combined(0), 0.05)
	assert.InDelta(t, 16.7, b.Freedom(0), 0.1)
	assert.InDelta(t, 2.17, b.Factor(0), 0, "table G.2 at 16 degrees of freedom, 95.45 %")
	assert.InDelta(t, 2.17*31.7, b.Expanded(0), 0.2)
}

// The factors of table G.2 are those of Student's distribution, whose density is integrated here.
func TestTheCoverageFactorsAreThoseOfStudentsDistribution(t *testing.T) {
	for _, freedom := range []float64{1, 2, 3, 4, 5, 8, 12, 16, 20, 25, 30, 40, 50, 100, 1000} {
		c := uncertainty.Deviation("", 1, "")
		c.Freedom = freedom
		k := uncertainty.Budget{K: uncertainty.Coverage, Components: []uncertainty.Component{c}}.Factor(0)
		top, _ := math.Lgamma((freedom + 1) / 2)
		bottom, _ := math.Lgamma(freedom / 2)
		scale := math.Exp(top-bottom) / math.Sqrt(freedom*math.Pi)
		inside := 0.0
		const steps = 100_000
		for i := range steps {
			x := (float64(i) + 0.5) * k / steps
			inside += 2 * scale * math.Pow(1+x*x/freedom, -(freedom+1)/2) * k / steps
		}
		assert.InDelta(t, 0.9545, inside, 0.0012, "%v degrees of freedom, k = %v", freedom, k)
	}
}

func TestWithoutObservationsTheFactorIsTwo(t *testing.T) {
	b := uncertainty.EdgeTimes(uncertainty.Edges{Period: 62.5})
	assert.True(t, math.IsInf(b.Freedom(0), 1))
	assert.EqualValues(t, 2, b.Factor(0))
	b.K = 3
	assert.EqualValues(t, 3, b.Factor(0))
}

func TestWhatIsProportionalGrowsWithTheValue(t *testing.T) {
	b := uncertainty.Budget{K: 2, Components: []uncertainty.Component{uncertainty.Deviation("clock", 10e-6, "").Proportional()}}
	assert.Zero(t, b.Expanded(0))
	assert.InDelta(t, 20, b.Expanded(1e6), 1e-9)
	assert.InDelta(t, 20, b.Expanded(-1e6), 1e-9)
	assert.InDelta(t, 20, b.At(1e6).Expanded(3), 1e-9, "as uncertain as the value it comes from")
	scatter := uncertainty.Budget{K: 2, Components: []uncertainty.Component{uncertainty.Scatter("", 10, ""), uncertainty.HalfWidth("", math.Sqrt(3), "")}}
	assert.InDelta(t, 2*math.Hypot(1, 1), scatter.Averaged(100).Expanded(0), 1e-9, "a mean scatters less; what is common to all stays")
	assert.InDelta(t, 10, scatter.Repeatability(0), 1e-9)
	assert.InDelta(t, 2*math.Hypot(10, 1), scatter.Expanded(0), 1e-9, "and the budget it was made of is as it was")
}

func TestTheBudgetOfATrackGoesBeforeThatOfAll(t *testing.T) {
	all := uncertainty.Stated("current", "mA", 1, "")
	main := uncertainty.Stated("current", "mA", 2, "")
	main.Track = "main"
	for _, budgets := range [][]uncertainty.Budget{{all, main}, {main, all}} {
		b, ok := uncertainty.Of(budgets, "current", "main")
		require.True(t, ok)
		assert.InDelta(t, 2, b.Expanded(0), 1e-12)
		b, ok = uncertainty.Of(budgets, "current", "programming")
		require.True(t, ok)
		assert.InDelta(t, 1, b.Expanded(0), 1e-12)
	}
	_, ok := uncertainty.Of([]uncertainty.Budget{main}, "current", "programming")
	assert.False(t, ok)
}

func TestAnUncertaintyIsRoundedUpToTwoDigits(t *testing.T) {
	for u, want := range map[float64]float64{58.35: 59, 59: 59, 0.0031: 0.0031, 577_357: 580_000, 99.1: 100, 0: 0, 1: 1, 2.08: 2.1} {
		assert.InDelta(t, want, uncertainty.RoundUp(u), want*1e-9, "%v", u)
	}
}

func TestABudgetThatIsNoneIsFoundOut(t *testing.T) {
	require.NoError(t, uncertainty.Stated("q", "ns", 1, "").Check())
	for name, spoil := range map[string]func(*uncertainty.Budget){
		"no k":     func(b *uncertainty.Budget) { b.K = 0 },
		"NaN":      func(b *uncertainty.Budget) { b.Components[0].Value = math.NaN() },
		"negative": func(b *uncertainty.Budget) { b.Components[0].Relative = -1 },
		"infinite": func(b *uncertainty.Budget) { b.Components[0].Freedom = math.Inf(1) },
		"times":    func(b *uncertainty.Budget) { b.Components[0].Times = math.NaN() },
	} {
		b := uncertainty.Stated("q", "ns", 1, "")
		spoil(&b)
		assert.ErrorContains(t, b.Check(), `budget of "q"`, name)
	}
}

func TestMoreComponentsNeverMakeAMeasurementBetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		component := rapid.Custom(func(t *rapid.T) uncertainty.Component {
			c := uncertainty.HalfWidth("", rapid.Float64Range(0, 1e6).Draw(t, "a"), "")
			if rapid.Bool().Draw(t, "proportional") {
				c = uncertainty.Deviation("", rapid.Float64Range(0, 1e-2).Draw(t, "ppm"), "").Proportional()
			}
			return c.Weighted(rapid.SampledFrom([]float64{-2, -1, 1, 2}).Draw(t, "times"))
		})
		b := uncertainty.Budget{K: uncertainty.Coverage, Components: rapid.SliceOf(component).Draw(t, "components")}
		value := rapid.Float64Range(-1e9, 1e9).Draw(t, "value")
		before := b.Expanded(value)
		b.Components = append(b.Components, component.Draw(t, "one more"))
		assert.GreaterOrEqual(t, b.Expanded(value), before*(1-1e-12))
		assert.GreaterOrEqual(t, b.Expanded(2*value), b.Expanded(value)*(1-1e-12))
	})
}

// What follows checks budgets by the other way there is: the distributions are propagated by drawing from them, and the shortest
// interval that holds 95 % of the outcomes is compared with U (JCGM 101:2008, 7 and 5.3.4). The models here are those of the
// apparatus, not of the budgets: stamps are rounded down to the clock, samples taken at an interval.

const draws = 200_000

// outcomes draws a model's error many times, and compares their standard deviation and the half of their shortest 95 % interval
// with the budget's.
func outcomes(t *testing.T, b uncertainty.Budget, value float64, deviation, interval float64, model func(r *rand.Rand) float64) {
	t.Helper()
	r := rand.New(rand.NewPCG(11, 12))
	errors := make([]float64, draws)
	mean, squares := 0.0, 0.0
	for i := range errors {
		e := model(r)
		errors[i] = e
		off := e - mean
		mean += off / float64(i+1)
		squares += off * (e - mean)
	}
	sd := math.Sqrt(squares / draws)
	slices.Sort(errors)
	shortest := math.Inf(1)
	for i, n := 0, draws*95/100; i+n < draws; i++ {
		shortest = min(shortest, (errors[i+n]-errors[i])/2)
	}
	t.Logf("%s at %g: uc %.4g, drawn %.4g; U %.4g, half of the shortest 95 %% interval %.4g", b.Quantity, value, b.Combined(value), sd, b.Expanded(value), shortest)
	assert.InEpsilon(t, sd, b.Combined(value), deviation)
	assert.GreaterOrEqual(t, b.Expanded(value), shortest*0.99, "U holds 95 %")
	assert.Less(t, b.Expanded(value), shortest*interval, "and is not much wider than that")
}

func rectangular(r *rand.Rand, a float64) float64 { return a * (2*r.Float64() - 1) }

// stamp is when a probe says that an edge at t was.
func stamp(t, period, noise float64, r *rand.Rand) float64 {
	return math.Floor(math.Floor((t-noise*r.NormFloat64())/period) * period)
}

func TestTheBudgetOfEdgeTimesHoldsAgainstDrawing(t *testing.T) {
	for _, period := range []float64{20, 62.5, 125} {
		e := uncertainty.Edges{Period: period, Noise: 10, WholeNanoseconds: true, Threshold: 40, Delay: 100,
			Drift: []uncertainty.Component{uncertainty.HalfWidth("", 100e-6, "").Proportional(), uncertainty.Deviation("", 20e-6, "").Proportional()}}
		for _, span := range []float64{58_000, 9_900_000} {
			b := uncertainty.EdgeTimes(e)
			// Where all else is small, times come in whole steps of the clock, and so does the interval: hence the half.
			outcomes(t, b, span, 0.02, 1.5, func(r *rand.Rand) float64 {
				first := 1e6 + 1e5*r.Float64()
				scale := 1 + rectangular(r, 100e-6) + 20e-6*r.NormFloat64()
				// An edge up is late by as much as the threshold is high, one down early by that.
				up, delay := rectangular(r, 40), rectangular(r, 100)
				return stamp(first+span*scale-up+delay, period, 10, r) - stamp(first+up, period, 10, r) - span
			})
		}
	}
}

func TestTheBudgetOfHalfDifferencesHoldsAgainstDrawing(t *testing.T) {
	e := uncertainty.Edges{Period: 62.5, Noise: 10, WholeNanoseconds: true, Threshold: 40, Delay: 100}
	b := uncertainty.HalfDifferences(e)
	outcomes(t, b, 0, 0.02, 1.3, func(r *rand.Rand) float64 {
		first := 1e6 + 1e5*r.Float64()
		half := 57_000 + 2000*r.Float64() // wherever the edges fall between two ticks
		up, delay := rectangular(r, 40), rectangular(r, 100)
		x, y, z := stamp(first+up, 62.5, 10, r), stamp(first+half-up+delay, 62.5, 10, r), stamp(first+2*half+up, 62.5, 10, r)
		return (y - x) - (z - y)
	})
	assert.Greater(t, b.Expanded(0), 1.7*uncertainty.EdgeTimes(e).Expanded(0))
}

func TestTheBudgetOfACurrentHoldsAgainstDrawing(t *testing.T) {
	b := uncertainty.Currents(uncertainty.Samples{Step: 4.888, Noise: 2, More: []uncertainty.Component{
		uncertainty.HalfWidth("zero", 10, ""), uncertainty.HalfWidth("gain", 0.07, "").Proportional()}})
	for _, value := range []float64{60, 1000} {
		outcomes(t, b, value, 0.02, 1.3, func(r *rand.Rand) float64 {
			true := value + 5*r.Float64()
			seen := true*(1+rectangular(r, 0.07)) + rectangular(r, 10) + 2*r.NormFloat64()
			return math.Round(seen/4.888)*4.888 - true
		})
	}
}

// A current that is cut between two samples is dated by a straight line between them: where it crosses half depends on how large it
// was.
func TestTheBudgetOfATripTimeHoldsAgainstDrawing(t *testing.T) {
	const interval = 500_000.0
	b := uncertainty.CurrentTimes(interval, 0, nil)
	r := rand.New(rand.NewPCG(1, 2))
	inside := 0
	for range draws {
		cut := r.Float64() * interval      // after the last sample with current
		crossing := interval * r.Float64() // where the line crosses the limit
		if math.Abs(crossing-cut) <= b.Expanded(0) {
			inside++
		}
	}
	assert.Greater(t, float64(inside)/draws, 0.95)
}

// Of what is timed by a command only so much is known that the host was behind by something up to the bound.
func TestTheBudgetOfATimeFromACommandHoldsAgainstDrawing(t *testing.T) {
	const late = 10e6
	b := uncertainty.CommandTimes(late, nil)
	r := rand.New(rand.NewPCG(1, 2))
	inside := 0
	for range draws {
		if late*r.Float64() <= b.Expanded(100e6) {
			inside++
		}
	}
	assert.Greater(t, float64(inside)/draws, 0.95)
}

// A component that was found by looking takes the place of the stated noise, and halves that share an edge scatter more.
func TestObservedScatterTakesThePlaceOfStatedNoise(t *testing.T) {
	e := uncertainty.Edges{Period: 62.5, Noise: 1e6, Scatter: 30, Observations: 1000}
	assert.InDelta(t, 30, uncertainty.EdgeTimes(e).Repeatability(58_000), 1e-9)
	assert.InDelta(t, 30*math.Sqrt(3), uncertainty.HalfDifferences(e).Repeatability(0), 1e-9)
	assert.Greater(t, uncertainty.EdgeTimes(e).Freedom(58_000), 999.0)
	bound := e
	bound.Bound = true
	assert.Zero(t, uncertainty.EdgeTimes(bound).Repeatability(58_000), "a bound is not held against the apparatus")
	assert.Equal(t, uncertainty.EdgeTimes(e).Expanded(58_000), uncertainty.EdgeTimes(bound).Expanded(58_000))
	for _, b := range []uncertainty.Budget{uncertainty.AnswerTimes(0), uncertainty.AnswerTimes(1e6), uncertainty.CommandTimes(1e6, nil), uncertainty.LoopTimes(5e5, 62.5), uncertainty.CurrentTimes(5e5, 1e3, nil)} {
		assert.NoError(t, b.Check())
		assert.NotEmpty(t, b.Model)
	}
}
