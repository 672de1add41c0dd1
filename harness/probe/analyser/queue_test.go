package analyser

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/signal"
)

func same(t time.Duration) time.Duration { return t }

func TestOnlyWhatIsCompleteIsHandedOut(t *testing.T) {
	q := newQueue([]int{0, 1}, 8)
	h := &heard{t: t}
	assert.False(t, q.pump(same, h), "nothing has come")
	q.push(0, positive(0))
	q.push(1, negative(10))
	q.push(1, positive(20))
	q.until = 10
	require.True(t, q.pump(same, h))
	assert.Equal(t, []signal.Edge{positive(0)}, h.edges[0])
	assert.Empty(t, h.edges[1], "its edge is at the time that is complete, not before")
	assert.False(t, q.pump(same, h), "no more has come")
	q.until = 21
	require.True(t, q.pump(same, h))
	assert.Equal(t, []signal.Edge{negative(10), positive(20)}, h.edges[1])
	assert.Empty(t, h.lost)
}

func TestALossLastsAsLongAsTheLevelBehindItIsNotKnown(t *testing.T) {
	q := newQueue([]int{0}, 2)
	h := &heard{t: t}
	q.push(0, positive(0))
	q.push(0, negative(10))
	q.push(0, positive(20)) // no room
	q.push(0, negative(50)) // later than what is complete
	q.until = 40
	require.True(t, q.pump(same, h))
	assert.Equal(t, [][2]time.Duration{{20, 40}}, h.lost)
	q.until = 60
	require.True(t, q.pump(same, h))
	assert.Equal(t, [][2]time.Duration{{20, 40}, {40, 60}}, h.lost)
	q.push(0, positive(70))
	q.until = 80
	require.True(t, q.pump(same, h))
	assert.Equal(t, []signal.Edge{positive(0), negative(10), negative(60), positive(70)}, h.edges[0], "the level after the loss, at its end")
	assert.EqualValues(t, 2, q.drops)
	assert.EqualValues(t, 40, q.lost)
}
