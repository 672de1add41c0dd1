package station_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var short3 = dcc.Short(3)

const inParts = `
[[operation.read_cv.answer]]
means = "part"
pattern = "reading.*"
[[event]]
name = "temperature"
pattern = "hot [0-9]+"
`

func TestAnswerInPartsEndsWithTheOneThatIsNone(t *testing.T) {
	s := speaking(t)
	s.to("cv 7", at(0, "reading 7"), at(time.Millisecond, "hot 71"), at(2*time.Millisecond, "reading on"), at(300*time.Millisecond, "7"))
	d := station.NewDriver(basic(t, inParts), s.near, s.clock)
	value, err := d.ReadCV(t.Context(), 7, station.Paged)
	require.NoError(t, err)
	assert.EqualValues(t, 7, value)
	last := d.LastExchange()
	assert.Equal(t, "reading 7\nreading on\n7", last.Answer)
	assert.Equal(t, 302*time.Millisecond, last.RoundTrip(), "to the end of the last part")
	heard, _ := d.Unsolicited()
	require.Len(t, heard, 1)
	assert.Equal(t, "temperature", heard[0].Event)
}

func TestAnswerInPartsHasTheTimeOfOneAnswer(t *testing.T) {
	s := speaking(t)
	s.to("cv 7", at(0, "reading 7"), at(400*time.Millisecond, "reading 7"), at(800*time.Millisecond, "7"))
	d := station.NewDriver(basic(t, inParts), s.near, s.clock)
	_, err := d.ReadCV(t.Context(), 7, station.Paged)
	require.ErrorIs(t, err, station.ErrNoAnswer)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Equal(t, "reading 7\nreading 7", d.LastExchange().Answer, "what came of it")
	require.NoError(t, d.StopAll(t.Context()), "the rest is passed over")
}

func TestAnswerWithoutAnEndIsBounded(t *testing.T) {
	for name, part := range map[string]string{"many": "reading\n", "long": "reading " + strings.Repeat("x", 4000) + "\n"} {
		t.Run(name, func(t *testing.T) {
			s := speaking(t)
			s.to("cv 7", says{0, strings.Repeat(part, 2000)})
			d := station.NewDriver(basic(t, inParts), s.near, s.clock)
			_, err := d.ReadCV(t.Context(), 7, station.Paged)
			var endless *station.EndlessAnswer
			require.ErrorAs(t, err, &endless)
			assert.LessOrEqual(t, endless.Parts, 1024)
			assert.Less(t, len(d.LastExchange().Answer), 5000)
			require.NoError(t, d.StopAll(t.Context()))
		})
	}
}

func TestFloodTakesAnswersInParts(t *testing.T) {
	s := speaking(t)
	var commands []station.Command
	for cv := range 10 {
		commands = append(commands, station.ReadCVCommand(cv+1, station.Paged))
		s.to(fmt.Sprintf("cv %d", cv+1), at(0, "reading"), at(7*time.Millisecond, "reading"), at(14*time.Millisecond, "7"))
	}
	report, err := station.NewDriver(basic(t, inParts), s.near, s.clock).Send(t.Context(), commands...)
	require.NoError(t, err)
	tally(t, report)
	assert.Equal(t, 10, report.Done, "%+v", report)
}
