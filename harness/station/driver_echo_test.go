package station_test

import (
	"testing"
	"time"

	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const echoing = `
[line]
echo = true
`

// echoed has the station say back all that it hears before it answers.
func echoed(s *scripted) *scripted {
	for line, table := range s.answers {
		for i, replies := range table {
			s.answers[line][i] = append([]says{at(0, line)}, replies...)
		}
	}
	return s
}

func TestDeclaredEchoIsPassedOver(t *testing.T) {
	s := speaking(t)
	s.to("cv 7", at(0, "7"))
	d := station.NewDriver(basic(t, echoing), echoed(s).near, s.clock)
	for range 3 {
		value, err := d.ReadCV(t.Context(), 7, station.Paged)
		require.NoError(t, err)
		assert.EqualValues(t, 7, value)
		assert.Equal(t, "7", d.LastExchange().Answer)
	}
	assert.Zero(t, d.Echoes(), "a declared echo is nothing to count")
	heard, _ := d.Unsolicited()
	assert.Empty(t, heard)
}

func TestOnlyTheFirstMessageThatEqualsWhatWasSentIsADeclaredEcho(t *testing.T) {
	s := speaking(t)
	s.to("cv 7", at(0, "cv 7"), at(0, "cv 7"))
	d := station.NewDriver(basic(t, echoing), s.near, s.clock)
	_, err := d.ReadCV(t.Context(), 7, station.Paged)
	var unexpected *station.UnexpectedAnswer
	require.ErrorAs(t, err, &unexpected)
	assert.Equal(t, "cv 7", unexpected.Got)
}

func TestDeclaredEchoOfAQuestionIsNotItsAnswerThoughItLooksLikeOne(t *testing.T) {
	s := speaking(t)
	s.answers["there?"] = [][]says{{at(0, "there?"), at(5*time.Millisecond, "there? here")}}
	s.answers["still there?"] = [][]says{{at(0, "still there?"), at(5*time.Millisecond, "still there? yes")}}
	s.answers["who"] = [][]says{{at(0, "who"), at(5*time.Millisecond, "mine 1.0")}}
	d := station.NewDriver(parsed(t, `
name = "x"
[line]
echo = true
[time]
quiet = "2ms"
[resynchronise]
send = "there?"
pattern = "there\\?.*"
[keep_alive]
every = "20s"
send = "still there?"
pattern = "still there\\?.*"
[operation.identify]
send = "who"
[[operation.identify.answer]]
means = "value"
pattern = "(?P<maker>.*)"
`), s.near, s.clock)
	for range 2 {
		identity, err := d.Identify(t.Context())
		require.NoError(t, err)
		assert.Equal(t, "mine 1.0", identity.Maker)
		require.NoError(t, d.KeepAlive(t.Context()))
	}
	heard, _ := d.Unsolicited()
	assert.Empty(t, heard, "no answer was left over for the next question")
}

func TestDeclaredEchoThatStaysAwayIsNotWaitedFor(t *testing.T) {
	s := speaking(t)
	d := station.NewDriver(basic(t, echoing), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
}

func TestEchoThatIsNotWhatWasSentIsDamageOfTheLine(t *testing.T) {
	s := echoed(speaking(t))
	s.to("cv 7", at(0, "cv 5"), at(0, "7"))
	d := station.NewDriver(basic(t, echoing), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	_, err := d.ReadCV(t.Context(), 7, station.Paged)
	var garbled *station.GarbledMessage
	require.ErrorAs(t, err, &garbled)
	assert.Equal(t, "cv 5", garbled.Got)
	assert.Equal(t, 1, d.LinkHealth().Garbled)
}

func TestUndeclaredEchoIsPassedOverAndCounted(t *testing.T) {
	s := speaking(t)
	s.to("cv 7", at(0, "7"))
	d := station.NewDriver(basic(t, ""), echoed(s).near, s.clock)
	value, err := d.ReadCV(t.Context(), 7, station.Paged)
	require.NoError(t, err)
	assert.EqualValues(t, 7, value)
	assert.Equal(t, 2, d.Echoes(), "of the query that brings into step, and of the operation")
	require.NoError(t, d.StopAll(t.Context()))
	assert.Equal(t, 3, d.Echoes())
	assert.Zero(t, d.LinkHealth())
}

func TestMessageThatAnAnswerPatternMatchesIsNoUndeclaredEcho(t *testing.T) {
	s := speaking(t)
	s.to("ok", at(0, "ok"))
	d := station.NewDriver(basic(t, "[operation.stop]\nsend = \"ok\"\nfixed = { address = \"3\", kind = \"short\" }\n"), s.near, s.clock)
	require.NoError(t, d.Do(t.Context(), station.StopCommand(short3)))
	assert.Zero(t, d.Echoes())
}

func TestEchoesOfAFloodArePassedOver(t *testing.T) {
	for name, c := range map[string]struct{ more string }{"declared": {echoing}, "undeclared": {""}} {
		t.Run(name, func(t *testing.T) {
			s := speaking(t)
			s.answers["halt"] = [][]says{{at(0, "halt"), at(5*time.Millisecond, "ok")}}
			d := station.NewDriver(basic(t, c.more), s.near, s.clock)
			commands := make([]station.Command, 20)
			for i := range commands {
				commands[i] = station.StopAllCommand()
			}
			report, err := d.Send(t.Context(), commands...)
			require.NoError(t, err)
			tally(t, report)
			assert.Equal(t, 20, report.Done)
		})
	}
}
