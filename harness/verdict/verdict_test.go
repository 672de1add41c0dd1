package verdict

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var anyVerdict = rapid.Custom(func(t *rapid.T) Verdict { return Verdict(rapid.IntRange(0, int(Error)).Draw(t, "verdict")) })

func TestWorsenIsALattice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := anyVerdict.Draw(t, "a"), anyVerdict.Draw(t, "b"), anyVerdict.Draw(t, "c")
		assert.Equal(t, Worsen(a, b), Worsen(b, a), "commutative")
		assert.Equal(t, Worsen(a, Worsen(b, c)), Worsen(Worsen(a, b), c), "associative")
		assert.Equal(t, a, Worsen(a, a), "idempotent")
		assert.Equal(t, a, Worsen(Unmeasured, a), "neutral element")
		assert.Equal(t, Error, Worsen(Error, a), "greatest element")
	})
}

func TestWorsenKeepsTheHeavierVerdict(t *testing.T) {
	heavier := []Verdict{NotClaimed, Pass, ConditionalPass, Excluded, NotFitted, Inconclusive, ConditionalFail, Fail, Error}
	for i, a := range heavier {
		for _, b := range heavier[i:] {
			assert.Equal(t, b, Worsen(a, b))
		}
	}
}

func TestTextFormsAreReadBack(t *testing.T) {
	forms := map[Verdict]string{Pass: "pass", ConditionalPass: "conditional pass", ConditionalFail: "conditional fail",
		Fail: "fail", NotClaimed: "not claimed", NotFitted: "not fitted", Excluded: "excluded",
		Inconclusive: "inconclusive", Error: "error"}
	require.Len(t, All(), len(forms))
	for _, v := range All() {
		data, err := json.Marshal(v)
		require.NoError(t, err)
		assert.Equal(t, `"`+forms[v]+`"`, string(data))
		var back Verdict
		require.NoError(t, json.Unmarshal(data, &back))
		assert.Equal(t, v, back)
	}
}

func TestAnUnsettledVerdictIsNotRecorded(t *testing.T) {
	_, err := json.Marshal(Unmeasured)
	assert.ErrorContains(t, err, "not measured")
	assert.Equal(t, Error, Unmeasured.Settle())
	assert.Equal(t, Pass, Pass.Settle())
	for _, text := range []string{"not measured", "", "passed", "Pass"} {
		_, err := Parse(text)
		assert.ErrorContains(t, err, "conditional pass", "%q: the error lists what is allowed", text)
	}
	assert.Equal(t, "verdict 77", Verdict(77).String())
}

// The figure of ILAC-G8:09/2019 section 4.2.3 with a limit of 100, a guard band of 2, at an upper and a lower bound.
func TestJudgeFollowsTheNonBinaryRule(t *testing.T) {
	for _, c := range []struct {
		value float64
		want  Verdict
	}{
		{90, Pass}, {98, Pass}, {98.01, ConditionalPass}, {100, ConditionalPass},
		{100.01, ConditionalFail}, {102, ConditionalFail}, {102.01, Fail}, {1e9, Fail},
	} {
		assert.Equal(t, c.want, Judge(c.value, AtMost(100, ""), 2), "%v at most 100", c.value)
		assert.Equal(t, c.want, Judge(200-c.value, AtLeast(100, ""), 2), "%v at least 100", 200-c.value)
	}
}

func TestACountHasNoGuardBand(t *testing.T) {
	assert.Equal(t, Pass, Judge(14, AtLeast(14, ""), 0))
	assert.Equal(t, Fail, Judge(13, AtLeast(14, ""), 0))
	assert.Equal(t, Pass, Judge(3, Exactly(3, ""), 0))
	assert.Equal(t, Fail, Judge(4, Exactly(3, ""), 0))
}

func TestALimitNarrowerThanTheGuardBandsNeverPasses(t *testing.T) {
	assert.Equal(t, ConditionalPass, Judge(100, Between(99, 101, ""), 2))
}

func TestNothingToHoldToIsNotClaimed(t *testing.T) {
	assert.Equal(t, NotClaimed, Judge(5, Limit{}, 1))
	assert.Nil(t, Single("latency", Nanoseconds, 5, 0, Limit{}, 1).Margin)
}

func TestNonsenseIsOurError(t *testing.T) {
	fine := Between(1, 2, "")
	for name, got := range map[string]Verdict{
		"value":                Judge(math.NaN(), fine, 0),
		"infinite value":       Judge(math.Inf(1), fine, 0),
		"uncertainty":          Judge(1, fine, math.NaN()),
		"negative uncertainty": Judge(1, fine, -1),
		"limit":                Judge(1, AtMost(math.Inf(1), ""), 0),
		"limits out of order":  Judge(1, Between(2, 1, ""), 0),
		"one value of many": Distribution("x", Count, Spread{Count: 2, Min: 1, Max: math.NaN()}, fine,
			0).Verdict,
	} {
		assert.Equal(t, Error, got, name)
	}
}

func TestJudgeIsMonotone(t *testing.T) {
	number := rapid.Float64Range(-1e9, 1e9)
	rapid.Check(t, func(t *rapid.T) {
		bound, u := number.Draw(t, "bound"), rapid.Float64Range(0, 1e6).Draw(t, "u")
		a, b := number.Draw(t, "a"), number.Draw(t, "b")
		if a > b {
			a, b = b, a
		}
		assert.LessOrEqual(t, Judge(a, AtMost(bound, ""), u), Judge(b, AtMost(bound, ""), u), "nearer an upper bound")
		assert.GreaterOrEqual(t, Judge(a, AtLeast(bound, ""), u), Judge(b, AtLeast(bound, ""), u), "nearer a lower bound")
		wider := u + rapid.Float64Range(0, 1e6).Draw(t, "more")
		if v := Judge(a, AtMost(bound, ""), u); v.Inside() {
			assert.True(t, Judge(a, AtMost(bound, ""), wider).Inside(), "U moves no value over the bound")
			assert.GreaterOrEqual(t, Judge(a, AtMost(bound, ""), wider), v, "more U, less certainty")
		}
	})
}

func TestBothEndsOfADistributionAreJudged(t *testing.T) {
	limit := Between(55e3, 61e3, "S-9.1 A")
	low := Distribution("one half-bit", Nanoseconds,
		Spread{Count: 9, Min: 54.8e3, Mean: 58e3, Max: 60e3, MinAt: time.Second, MaxAt: 2 * time.Second}, limit, 50)
	assert.Equal(t, Fail, low.Verdict)
	assert.Equal(t, 54.8e3, low.Value)
	assert.Equal(t, time.Second, low.At)
	assert.InDelta(t, -200, *low.Margin, 1e-9)

	high := Distribution("one half-bit", Nanoseconds,
		Spread{Count: 9, Min: 57e3, Mean: 58e3, Max: 61.02e3, MinAt: time.Second, MaxAt: 2 * time.Second}, limit, 50)
	assert.Equal(t, ConditionalFail, high.Verdict)
	assert.Equal(t, 61.02e3, high.Value)
	assert.Equal(t, 2*time.Second, high.At)
	assert.InDelta(t, -20, *high.Margin, 1e-9)
}

func TestTheWorstOfManyIsAsBadAsAnyOne(t *testing.T) {
	number := rapid.Float64Range(0, 100)
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(number, 1, 20).Draw(t, "values")
		limit, u := Between(30, 70, ""), rapid.Float64Range(0, 10).Draw(t, "u")
		s, worst := Spread{Min: math.Inf(1), Max: math.Inf(-1)}, Unmeasured
		for i, v := range values {
			s.Count++
			if v < s.Min {
				s.Min, s.MinAt = v, time.Duration(i)
			}
			if v > s.Max {
				s.Max, s.MaxAt = v, time.Duration(i)
			}
			worst = Worsen(worst, Judge(v, limit, u))
		}
		m := Distribution("x", Count, s, limit, u)
		assert.Equal(t, worst, m.Verdict)
		assert.Equal(t, values[m.At], m.Value, "the time is that of the worst value")
		assert.Equal(t, worst, Judge(m.Value, limit, u), "the value shown is the one that decided")
	})
}

func TestAnEmptyDistributionIsInconclusive(t *testing.T) {
	assert.Equal(t, Inconclusive, Distribution("zero half-bit", Nanoseconds, Spread{}, Between(1, 2, ""), 0).Verdict)
}

func TestMeasurementsAreReadBack(t *testing.T) {
	want := Duration("gap", 12*time.Millisecond, time.Second, AtMost(20e6, "S-9.2.3"), time.Microsecond)
	data, err := json.Marshal(want)
	require.NoError(t, err)
	var got Measurement
	require.NoError(t, json.Unmarshal(data, &got))
	assert.Equal(t, want, got)
	assert.Equal(t, Pass, got.Verdict)
	assert.Equal(t, 3.0, Number("packets", 3, 0, AtLeast(2, "")).Value)
}

// A large value may be less certain than a small one, and so be the worse though it has more margin.
func TestTheValueThatIsJudgedWorseIsTheOneThatIsTold(t *testing.T) {
	s := Spread{Count: 2, Min: 10, Mean: 500, Max: 980, MinAt: 1, MaxAt: 2}
	tenth := func(value float64) float64 { return value / 10 }
	m := DistributionBy("time", Nanoseconds, s, Between(5, 1000, ""), tenth)
	assert.Equal(t, ConditionalPass, m.Verdict)
	assert.EqualValues(t, 980, m.Value)
	assert.EqualValues(t, 2, m.At)
	assert.EqualValues(t, 98, m.Uncertainty)
	assert.EqualValues(t, 20, *m.Margin, "though the other is nearer to its bound")

	m = DistributionBy("time", Nanoseconds, s, Between(5, 1000, ""), func(float64) float64 { return 0 })
	assert.Equal(t, Pass, m.Verdict)
	assert.EqualValues(t, 10, m.Value, "of two that pass the nearer one")
	assert.Equal(t, Distribution("time", Nanoseconds, s, Between(5, 1000, ""), 0), m)

	none := DistributionBy("time", Nanoseconds, Spread{}, Between(5, 1000, ""), tenth)
	assert.Equal(t, Inconclusive, none.Verdict)
	assert.Nil(t, none.Margin)
}
