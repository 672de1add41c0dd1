package verdict

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestASpreadKeepsExtremesWithTheirFirstTimesAndTheMean(t *testing.T) {
	var s Spread
	for i, v := range []float64{3, 1, 4, 1, 4} {
		s.Add(v, time.Duration(i))
	}
	assert.Equal(t, int64(5), s.Count)
	assert.Equal(t, 1.0, s.Min)
	assert.Equal(t, time.Duration(1), s.MinAt)
	assert.Equal(t, 4.0, s.Max)
	assert.Equal(t, time.Duration(2), s.MaxAt)
	assert.InDelta(t, 2.6, s.Mean, 1e-12)
}

func TestJoinedSpreadsAreOneOfAllValues(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var one, other, all Spread
		values := rapid.SliceOf(rapid.Float64Range(-1e3, 1e3)).Draw(t, "values")
		first := rapid.IntRange(0, len(values)).Draw(t, "of the first")
		for i, v := range values {
			all.Add(v, time.Duration(i))
			if i < first {
				one.Add(v, time.Duration(i))
			} else {
				other.Add(v, time.Duration(i))
			}
		}
		one.Join(other)
		assert.InDelta(t, all.Mean, one.Mean, 1e-6)
		one.Mean = all.Mean
		assert.Equal(t, all, one)
	})
}

func TestTheMeanOfASpreadLiesBetweenItsExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s Spread
		for i, v := range rapid.SliceOfN(rapid.Float64Range(-1e9, 1e9), 1, 100).Draw(t, "values") {
			s.Add(v, time.Duration(i))
		}
		assert.LessOrEqual(t, s.Min, s.Mean+1e-3)
		assert.LessOrEqual(t, s.Mean, s.Max+1e-3)
	})
}
