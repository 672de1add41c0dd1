package station_test

import (
	"testing"
	"time"

	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const announced = `
[[event]]
name = "up again"
pattern = "ready .*"
restart = true
[[start]]
send = "prompt off"
pattern = "off it is"
[[start]]
send = "events on"
pattern = "on it is"
`

// starting is a station that announces its starts and has to be told a few things then.
func starting(t *testing.T) *scripted {
	s := speaking(t)
	s.to("prompt off", at(0, "off it is"))
	s.to("events on", at(0, "on it is"))
	return s
}

// boots has the station announce a start some time from now.
func (s *scripted) boots(after time.Duration) {
	s.clock.At(s.clock.Now()+after, func() {
		_, err := s.far.Write(s.t.Context(), []byte("ready 1.0\n"), 0)
		require.NoError(s.t, err)
	})
}

func TestStartUpScriptIsSaidOnFirstUse(t *testing.T) {
	s := starting(t)
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	require.NoError(t, d.StopAll(t.Context()))
	assert.Equal(t, []string{"prompt off", "events on", "there?", "halt", "halt"}, s.heard)
}

func TestStartUpScriptThatIsNotAnsweredIsNoSignOfLife(t *testing.T) {
	s := starting(t)
	s.answers["events on"] = nil
	err := station.NewDriver(basic(t, announced), s.near, s.clock).StopAll(t.Context())
	require.ErrorIs(t, err, station.ErrSilent)
	assert.Contains(t, err.Error(), `no answer to "events on"`)
}

func TestStartUpScriptIsSaidAgainAfterARestart(t *testing.T) {
	s := starting(t)
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	s.heard = nil
	s.boots(10 * time.Millisecond)
	require.NoError(t, s.clock.Wait(t.Context(), 20*time.Millisecond))
	require.NoError(t, d.StopAll(t.Context()))
	assert.Equal(t, []string{"prompt off", "events on", "there?", "halt"}, s.heard)
	assert.Equal(t, 1, d.Restarts(), "nobody had asked for it")
}

func TestRestartWhileNothingIsAskedIsKnownAfterListening(t *testing.T) {
	s := starting(t)
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	s.boots(time.Millisecond)
	require.NoError(t, s.clock.Wait(t.Context(), 20*time.Millisecond))
	assert.Zero(t, d.Restarts())
	require.NoError(t, d.Listen(t.Context()))
	assert.Equal(t, 1, d.Restarts())
}

func TestOperationUnderWayEndsWithAnUnaskedRestart(t *testing.T) {
	s := starting(t)
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	s.answers["halt"] = [][]says{{at(30*time.Millisecond, "ready 1.0")}, {at(0, "ok")}}
	err := d.StopAll(t.Context())
	require.ErrorIs(t, err, station.ErrRestarted)
	var restarted *station.Restarted
	require.ErrorAs(t, err, &restarted)
	assert.Equal(t, 1, restarted.Count)
	assert.Positive(t, restarted.At)
	assert.Equal(t, 30*time.Millisecond+2*time.Millisecond, s.clock.Now()-d.LastExchange().HandedOver, "and does not wait for an answer")
	require.NoError(t, d.StopAll(t.Context()))
	assert.Nil(t, d.BootLoop())
}

func TestExpectedRestartIsNotHeldAgainstTheStation(t *testing.T) {
	s := starting(t)
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	d.ExpectRestart()
	s.boots(10 * time.Millisecond) // while the driver comes into step
	require.NoError(t, d.StopAll(t.Context()))
	assert.Zero(t, d.Restarts())
	s.boots(10 * time.Millisecond)
	require.NoError(t, s.clock.Wait(t.Context(), 20*time.Millisecond))
	require.NoError(t, d.StopAll(t.Context()))
	assert.Equal(t, 1, d.Restarts(), "one is expected, no more")
}

func TestExpectationOfARestartEndsWithTheNextOperation(t *testing.T) {
	s := starting(t)
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	d.ExpectRestart()
	require.NoError(t, d.StopAll(t.Context()))
	s.boots(time.Millisecond)
	require.NoError(t, s.clock.Wait(t.Context(), 20*time.Millisecond))
	require.NoError(t, d.Listen(t.Context()))
	assert.Equal(t, 1, d.Restarts())
}

func TestStationThatResetsByRestartingHasReset(t *testing.T) {
	for name, replies := range map[string][]says{
		"in place of an answer": {at(100*time.Millisecond, "ready 1.0")},
		"after its answer":      {at(0, "ok"), at(100*time.Millisecond, "ready 1.0")},
	} {
		t.Run(name, func(t *testing.T) {
			s := starting(t)
			s.to("anew", replies...)
			d := station.NewDriver(basic(t, announced), s.near, s.clock)
			require.NoError(t, d.StopAll(t.Context()))
			require.NoError(t, d.Reset(t.Context()))
			require.NoError(t, s.clock.Wait(t.Context(), time.Second))
			require.NoError(t, d.StopAll(t.Context()))
			assert.Zero(t, d.Restarts())
			assert.Equal(t, 1, count(s.heard, "anew"))
			assert.Equal(t, 2, count(s.heard, "prompt off"))
		})
	}
}

func TestOperationThatAnExpectedRestartSwallowsIsAskedAgain(t *testing.T) {
	s := starting(t)
	s.to("anew", at(0, "ok"), at(120*time.Millisecond, "ready 1.0"))
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	require.NoError(t, d.Reset(t.Context()))
	s.answers["halt"] = [][]says{{}, {at(0, "ok")}}
	require.NoError(t, d.StopAll(t.Context()))
	assert.Equal(t, 2, d.LastExchange().Tries)
	assert.Zero(t, d.Restarts())
}

func TestThreeRestartsWithNothingDoneAreABootLoop(t *testing.T) {
	s := starting(t)
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	since := s.clock.Now()
	var loop func()
	loop = func() {
		s.boots(0)
		s.clock.At(s.clock.Now()+40*time.Millisecond, loop) // sooner than a script, a query and the quiet time take
	}
	s.clock.At(since+time.Millisecond, loop)
	require.NoError(t, s.clock.Wait(t.Context(), 20*time.Millisecond))
	err := d.StopAll(t.Context())
	var found *station.BootLoop
	require.ErrorAs(t, err, &found)
	assert.Equal(t, 3, found.Count)
	assert.InDelta(t, float64(since), float64(found.Since), float64(50*time.Millisecond))
	require.ErrorIs(t, err, station.ErrRestarted)
	assert.Equal(t, found, d.BootLoop())
	assert.Equal(t, 3, d.Restarts())
	assert.Less(t, s.clock.Now()-since, time.Second, "and is told at once")
}

func TestOneOperationThatIsDoneEndsABootLoop(t *testing.T) {
	s := starting(t)
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	for i := range 5 {
		s.boots(time.Millisecond)
		require.NoError(t, s.clock.Wait(t.Context(), 20*time.Millisecond))
		require.NoError(t, d.StopAll(t.Context()))
		assert.Nil(t, d.BootLoop())
		assert.Equal(t, i+1, d.Restarts())
	}
}

func TestAFloodThatIsAnsweredEndsABootLoop(t *testing.T) {
	s := starting(t)
	d := station.NewDriver(basic(t, announced), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	for i := range 5 {
		s.boots(time.Millisecond)
		require.NoError(t, s.clock.Wait(t.Context(), 20*time.Millisecond))
		report, err := d.Send(t.Context(), station.StopAllCommand())
		require.NoError(t, err)
		assert.Equal(t, 1, report.Done)
		assert.Nil(t, d.BootLoop())
		assert.Equal(t, i+1, d.Restarts())
	}
}

func count(lines []string, wanted string) (n int) {
	for _, line := range lines {
		if line == wanted {
			n++
		}
	}
	return n
}
