package link_test

import (
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const played = `bufferstop link log 1
0.500000000 < "hello\n"
1.000000000 > "a\n"
1.020000000 < "1\n"
1.030000000 < "2\n"
2.000000000 > "b"
2.100000000 > "c\n"
2.150000000 < "3\n"
`

func playback(t *testing.T) (*link.VirtualClock, *link.Playback) {
	t.Helper()
	log, err := link.ReadLog(strings.NewReader(played))
	require.NoError(t, err)
	clock := new(link.VirtualClock)
	require.NoError(t, clock.Wait(t.Context(), time.Minute))
	return clock, link.Play(log, clock)
}

func TestPlaybackAnswersAsLongAfterTheQuestionAsTheStationDid(t *testing.T) {
	clock, station := playback(t)
	got, err := read(t, station, 0)
	require.NoError(t, err)
	assert.Equal(t, "hello\n", got)

	write(t, station, "a\n")
	_, err = read(t, station, 19*time.Millisecond)
	require.ErrorIs(t, err, link.ErrTimeout)
	got, err = read(t, station, time.Second)
	require.NoError(t, err)
	assert.Equal(t, "1\n", got)
	assert.Equal(t, time.Minute+20*time.Millisecond, clock.Now())
	got, err = read(t, station, time.Second)
	require.NoError(t, err)
	assert.Equal(t, "2\n", got)

	write(t, station, "bc")
	_, err = read(t, station, time.Second)
	require.ErrorIs(t, err, link.ErrTimeout, "the question is not complete")
	write(t, station, "\n")
	asked := clock.Now()
	got, err = read(t, station, time.Second)
	require.NoError(t, err)
	assert.Equal(t, "3\n", got)
	assert.Equal(t, asked+50*time.Millisecond, clock.Now())
	assert.True(t, station.Done())
	_, err = read(t, station, time.Second)
	require.ErrorIs(t, err, link.ErrTimeout)
}

func TestPlaybackRefusesWhatWasNotSent(t *testing.T) {
	_, station := playback(t)
	_, err := station.Write(t.Context(), []byte("a\n"), time.Second)
	var wrong *link.PlaybackError
	require.ErrorAs(t, err, &wrong, "the greeting has not been read")

	_, err = read(t, station, time.Second)
	require.NoError(t, err)
	n, err := station.Write(t.Context(), []byte("a!"), time.Second)
	require.ErrorAs(t, err, &wrong)
	assert.Equal(t, 0, n)
	assert.Equal(t, &link.PlaybackError{Offset: 0, Got: []byte("a!"), Want: []byte("a\n")}, wrong)
	assert.Equal(t, `link: playback: got "a!" after 0 bytes, want "a\n"`, err.Error())
	assert.False(t, station.Done())
}

func TestPlaybackIsClosedForGood(t *testing.T) {
	_, station := playback(t)
	require.NoError(t, station.Close())
	require.NoError(t, station.Close())
	_, err := read(t, station, time.Second)
	require.ErrorIs(t, err, link.ErrClosed)
	_, err = station.Write(t.Context(), []byte("a\n"), time.Second)
	require.ErrorIs(t, err, link.ErrClosed)
}
