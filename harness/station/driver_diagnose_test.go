package station_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/link/linktest"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// asking is a driver whose station has said who it is, and reads CV 7 as the table has it: the first time, when it is
// asked again, and when it is asked once more.
func asking(t *testing.T, more string, cv7 ...[]says) (*scripted, *station.Driver) {
	s := starting(t)
	s.answers["cv 7"] = cv7
	d := station.NewDriver(basic(t, more), s.near, s.clock)
	_, err := d.Identify(t.Context())
	require.NoError(t, err)
	return s, d
}

func one(replies ...says) []says { return replies }

func TestWhoseFaultItIsThatAnOperationFailed(t *testing.T) {
	right := one(at(0, "7"))
	for name, c := range map[string]struct {
		cv7       [][]says
		more      string
		fault     station.Fault
		confirmed bool
		noise     int
		why       string
	}{
		"the same wrong answer":        {cv7: [][]says{one(at(0, "seven"))}, fault: station.StationFault, confirmed: true, why: "the same came again"},
		"wrong in the same way":        {cv7: [][]says{one(at(0, "at 12 ms: 7")), one(at(0, "at 250 ms: 7"))}, fault: station.StationFault, confirmed: true},
		"another wrong answer":         {cv7: [][]says{one(at(0, "seven")), one(at(0, "sewen"))}, fault: station.LinkFault, noise: 1, why: "in another way"},
		"a right answer the next time": {cv7: [][]says{one(at(0, "w7")), right}, fault: station.LinkFault, noise: 1, why: "in another way: done"},
		"right the third time":         {cv7: [][]says{one(at(0, "w7")), one(at(0, "w7")), right}, fault: station.LinkFault, noise: 1},
		"the same refusal":             {cv7: [][]says{one(at(0, "no 3"))}, fault: station.StationFault, confirmed: true},
		"another refusal":              {cv7: [][]says{one(at(0, "no 3")), one(at(0, "no 4"))}, fault: station.LinkFault, noise: 1},
		"a refusal and then none":      {cv7: [][]says{one(at(0, "no 3")), right}, fault: station.LinkFault, noise: 1},
		"silence to this alone":        {cv7: [][]says{{}}, fault: station.StationFault, confirmed: true, why: "the same came again"},
		"silence once":                 {cv7: [][]says{{}, right}, fault: station.UnclearFault, noise: 1, why: "either side may have lost something"},
		"silence, then a refusal":      {cv7: [][]says{{}, one(at(0, "no 3"))}, fault: station.UnclearFault, noise: 1},
		"a late answer":                {cv7: [][]says{one(at(520*time.Millisecond, "7")), right}, fault: station.UnclearFault, why: "after the time for the answer had passed"},
		"no decoder":                   {cv7: [][]says{one(at(0, "nobody"))}, fault: station.StationFault, confirmed: true},
		"no decoder the first time":    {cv7: [][]says{one(at(0, "nobody")), right}, fault: station.StationFault, why: "well formed"},
		"damage, the same each time":   {cv7: [][]says{one(at(0, "7\x80"))}, fault: station.StationFault, confirmed: true},
		"damage once":                  {cv7: [][]says{one(at(0, "7\x80")), right}, fault: station.LinkFault, noise: 1},
		"damage of another kind":       {cv7: [][]says{one(at(0, "7\x80")), one(at(0, "7\x90"))}, fault: station.LinkFault, noise: 2},
		"a line too long each time":    {cv7: [][]says{one(at(0, strings.Repeat("x", 9000)))}, fault: station.StationFault, confirmed: true},
		"a restart":                    {cv7: [][]says{one(at(0, "ready 1"))}, more: announced, fault: station.StationFault, confirmed: true, why: "nobody had asked for a restart"},
		"a restart when asked again":   {cv7: [][]says{{}, one(at(0, "ready 1"))}, more: announced, fault: station.StationFault, confirmed: true},
	} {
		t.Run(name, func(t *testing.T) {
			_, d := asking(t, c.more, c.cv7...)
			_, err := d.ReadCV(t.Context(), 7, station.Paged)
			require.Error(t, err)
			failed := d.LastExchange()
			found := d.Diagnose(t.Context(), err)
			assert.Equal(t, c.fault, found.Fault, found.Why)
			assert.Equal(t, c.confirmed, found.Confirmed)
			assert.False(t, found.OutOfReach)
			assert.Contains(t, found.Why, c.why)
			assert.Equal(t, c.noise, d.LinkHealth().Noise(), "%s", d.LinkHealth())
			assert.Equal(t, failed, d.LastExchange(), "what failed can still be quoted")
			require.NoError(t, d.StopAll(t.Context()), "and driver and station are in step")
		})
	}
}

func TestStationThatChangesItsNameHasABadLine(t *testing.T) {
	s, d := asking(t, "", one(at(0, "seven")))
	_, err := d.ReadCV(t.Context(), 7, station.Paged)
	s.answers["who"] = [][]says{one(at(0, "mine 1.0")), one(at(0, "mine 1.0")), one(at(0, "mife 1.0")), one(at(0, "mine 1.0"))}
	found := d.Diagnose(t.Context(), err)
	assert.Equal(t, station.LinkFault, found.Fault)
	assert.Contains(t, found.Why, `"mife 1.0" and no more "mine 1.0"`)
	assert.Equal(t, 1, d.LinkHealth().Differing)
}

func TestQuestionsThatGetLostMakeItUnclear(t *testing.T) {
	s, d := asking(t, "", one(at(0, "seven")))
	_, err := d.ReadCV(t.Context(), 7, station.Paged)
	s.answers["who"] = [][]says{one(at(0, "mine 1.0")), {}, one(at(0, "mine 1.0"))}
	found := d.Diagnose(t.Context(), err)
	assert.Equal(t, station.UnclearFault, found.Fault)
	assert.Contains(t, found.Why, "1 of 32 other questions had no answer")
	assert.Equal(t, station.LinkHealth{Lost: 1}, d.LinkHealth())
}

func TestSilenceToEverythingIsUnclear(t *testing.T) {
	for name, silence := range map[string]func(*scripted){
		"to the question that brings into step": func(s *scripted) { s.answers = map[string][][]says{} },
		"to who it is":                          func(s *scripted) { s.answers["who"], s.answers["cv 7"] = nil, nil },
	} {
		t.Run(name, func(t *testing.T) {
			s, d := asking(t, "", [][]says{}...)
			_, err := d.ReadCV(t.Context(), 7, station.Paged)
			require.ErrorIs(t, err, station.ErrNoAnswer)
			silence(s)
			found := d.Diagnose(t.Context(), err)
			assert.Equal(t, station.UnclearFault, found.Fault)
			assert.True(t, found.OutOfReach)
			assert.True(t, found.Silent)
			assert.Contains(t, found.Why, "the station hangs, or the cable is out")
		})
	}
}

func TestDialectWithoutAQueryTellsSilenceFromAStationThatLeavesOneThingUnanswered(t *testing.T) {
	s := answering(t)
	d := station.NewDriver(terse(t), s.near, s.clock)
	err := d.StopAll(t.Context())
	require.ErrorIs(t, err, station.ErrNoAnswer)
	found := d.Diagnose(t.Context(), err)
	assert.Equal(t, station.UnclearFault, found.Fault, "it has no way to ask for anything else: %s", found.Why)
}

func TestLinkThatIsClosedIsNoFaultOfTheStation(t *testing.T) {
	s, d := asking(t, "", one())
	require.NoError(t, s.far.Close())
	_, err := d.ReadCV(t.Context(), 7, station.Paged)
	found := d.Diagnose(t.Context(), err)
	assert.Equal(t, station.LinkFault, found.Fault)
	assert.False(t, found.OutOfReach, "it may come back")
}

func TestLinkThatDoesNotTakeWhatIsSentIsNoFaultOfTheStation(t *testing.T) {
	s, d := asking(t, "", one())
	s.far.Block(true)
	_, err := d.ReadCV(t.Context(), 7, station.Paged)
	require.ErrorIs(t, err, station.ErrNotTaken)
	found := d.Diagnose(t.Context(), err)
	assert.Equal(t, station.LinkFault, found.Fault)
	assert.True(t, found.OutOfReach)
}

func TestLineThatNeverIsQuietIsUnclear(t *testing.T) {
	for name, text := range map[string]string{"lines": "hot 71\n", "no line end": "x"} {
		t.Run(name, func(t *testing.T) {
			s := speaking(t)
			d := station.NewDriver(basic(t, ""), linktest.Endless(s.near, s.clock, text, 11520, time.Second), s.clock)
			_, err := d.Identify(t.Context())
			require.NoError(t, err)
			require.NoError(t, s.clock.Wait(t.Context(), 2*time.Second))
			err = d.StopAll(t.Context())
			require.Error(t, err)
			found := d.Diagnose(t.Context(), err)
			assert.Equal(t, station.UnclearFault, found.Fault, "%v: %s", err, found.Why)
			assert.True(t, found.OutOfReach)
			assert.Zero(t, d.LinkHealth().Noise())
			assert.Less(t, s.clock.Now(), 30*time.Second)
		})
	}
}

func TestWhatWasNotAskedIsNobodysFault(t *testing.T) {
	_, d := asking(t, "", one())
	_, err := d.Current(t.Context(), station.Main)
	require.ErrorIs(t, err, station.ErrNotSupported)
	assert.Equal(t, station.UnclearFault, d.Diagnose(t.Context(), err).Fault)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	err = d.StopAll(ctx)
	require.ErrorIs(t, err, context.Canceled)
	assert.Equal(t, station.UnclearFault, d.Diagnose(t.Context(), err).Fault)
	assert.Equal(t, station.UnclearFault, d.Diagnose(t.Context(), nil).Fault)
}

// unruly is a link that fails, from the nth write on, in a way that no link of ours does.
type unruly struct {
	link.Link
	writes int
}

func (u *unruly) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if u.writes--; u.writes < 0 {
		return 0, errors.New("out of paper")
	}
	return u.Link.Write(ctx, p, timeout)
}

func TestEveryFaultIsSomebodysOrUnclear(t *testing.T) {
	for n := range 50 {
		s := speaking(t)
		s.answers["who"] = [][]says{{at(0, "42")}}
		over := &unruly{s.near, 2} // the query and the question
		d := station.NewDriver(basic(t, ""), over, s.clock)
		_, err := d.Identify(t.Context())
		require.Error(t, err)
		over.writes = n
		found := d.Diagnose(t.Context(), err)
		if over.writes < 0 {
			assert.NotEqual(t, station.StationFault, found.Fault, "after %d writes", n)
		}
		assert.NotEmpty(t, found.Fault, "after %d writes", n)
		assert.NotEmpty(t, found.Why, "after %d writes", n)
	}
}

func TestKeepAliveThatIsAlwaysUnansweredIsTheStations(t *testing.T) {
	_, d := asking(t, keptAlive, one())
	err := d.KeepAlive(t.Context())
	require.ErrorIs(t, err, station.ErrKeepAlive)
	found := d.Diagnose(t.Context(), err)
	assert.Equal(t, station.StationFault, found.Fault, found.Why)
}

func TestWrongAnswerToWhoItIsIsTheStationsThoughNothingElseIsKnown(t *testing.T) {
	s := speaking(t)
	s.answers["who"] = [][]says{{at(0, "42")}}
	d := station.NewDriver(basic(t, ""), s.near, s.clock)
	_, err := d.Identify(t.Context())
	require.Error(t, err)
	found := d.Diagnose(t.Context(), err)
	assert.Equal(t, station.StationFault, found.Fault, found.Why)
}

func TestLineIsProvedByTheSameAnswerAgainAndAgain(t *testing.T) {
	s, d := asking(t, "", one())
	asked := count(s.heard, "who")
	require.NoError(t, d.Prove(t.Context()))
	assert.Equal(t, 32, count(s.heard, "who")-asked)
	s.answers["who"] = [][]says{{at(0, "mine 1.0")}, {at(0, "m\xe9ne 1.0")}, {at(0, "mine 1.0")}}
	err := d.Prove(t.Context())
	require.Error(t, err)
	assert.Contains(t, err.Error(), `m\xe9ne`)
	assert.Equal(t, 1, d.LinkHealth().Garbled)
	assert.Equal(t, "damaged answers: 1", d.LinkHealth().String())
}

func TestStrangeLinesBetweenAnswersAreNoNoise(t *testing.T) {
	s, d := asking(t, "", one())
	for range 5 {
		_, err := s.far.Write(t.Context(), []byte("\x1b[32mI (1234) wifi\x1b[0m\n\xff\xfe\n"), 0)
		require.NoError(t, err)
		require.NoError(t, s.clock.Wait(t.Context(), 20*time.Millisecond))
		require.NoError(t, d.StopAll(t.Context()))
	}
	assert.Equal(t, station.LinkHealth{}, d.LinkHealth())
}

func TestLinkThatComesBackIsCounted(t *testing.T) {
	s := speaking(t)
	plug := linktest.Plugged(s.near, s.clock)
	plug.Limit, plug.Absent = 10*time.Second, time.Second
	d := station.NewDriver(basic(t, ""), plug, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	plug.Pull()
	require.ErrorIs(t, d.StopAll(t.Context()), link.ErrClosed)
	require.NoError(t, d.StopAll(t.Context()))
	assert.Equal(t, 1, d.LinkHealth().Reopened)
	assert.Zero(t, d.LinkHealth().Noise())
}
