package station_test

import (
	"testing"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	lightOn  = "LOCO:FUNC 3,0,ON;:SYST:ERR?"
	lightOff = "LOCO:FUNC 3,0,OFF;:SYST:ERR?"
)

// answersAll makes a station answer everything that Flood sends by itself.
func answersAll(t *testing.T) *scripted {
	s := answering(t)
	s.to(lightOn, at(0, fine))
	s.to(lightOff, at(0, fine))
	return s
}

func tally(t *testing.T, r station.FloodReport) {
	t.Helper()
	assert.Equal(t, r.Sent, r.Done+r.Refused+r.Busy+r.Unexpected+r.Lost, "%+v", r)
}

func TestFloodSendsBackToBackForItsDurationAndCountsTheAnswers(t *testing.T) {
	s := answersAll(t)
	d := s.driver()
	report, err := d.Flood(t.Context(), time.Second)
	require.NoError(t, err)
	tally(t, report)
	assert.Equal(t, report.Sent, report.Done)
	// Four commands go out at once in each round trip of 2 ms.
	assert.InDelta(t, 2000, report.Sent, 10)
	assert.Len(t, s.commands(), report.Sent)
	assert.InDelta(t, float64(time.Second), float64(report.HandedOver-report.Begun), float64(3*time.Millisecond))
	assert.Equal(t, 2*time.Millisecond, report.Answered-report.HandedOver)
	assert.EqualValues(t, (len(lightOn)+1)*report.Sent/2+(len(lightOff)+1)*report.Sent/2, report.Bytes)
	assert.InDelta(t, 57000, report.Rate(), 1000)
	assert.Equal(t, []string{lightOn, lightOff, lightOn, lightOff}, s.commands()[:4])

	s.to(stopAll, at(0, fine))
	require.NoError(t, d.StopAll(t.Context()), "and it is in step afterwards")
}

func TestFloodKeepsNoMoreUnansweredThanTheWindow(t *testing.T) {
	s := answering(t)
	s.to(lightOn, at(100*time.Millisecond, fine))
	s.to(lightOff, at(100*time.Millisecond, fine))
	d := s.driver()
	require.NoError(t, d.Resynchronise(t.Context()))
	heard := len(s.heard)
	s.clock.At(s.clock.Now()+50*time.Millisecond, func() {
		assert.Len(t, s.heard, heard+4, "[line] window of the reference dialect")
	})
	report, err := d.Flood(t.Context(), time.Second)
	require.NoError(t, err)
	tally(t, report)
	assert.Equal(t, report.Sent, report.Done)
}

func TestSendTellsTheAnswersApart(t *testing.T) {
	s := answering(t)
	s.to(stopAll, at(0, fine))
	s.to("LOCO:STOP 3;:SYST:ERR?", at(0, `-222,"Data out of range"`))
	s.to("LOCO:STOP 4;:SYST:ERR?", at(0, `120,"Track tripped"`))
	s.to("LOCO:STOP 5;:SYST:ERR?", at(0, "hm"))
	s.to(read29, at(3*time.Second, `6;0,"No error"`))
	d := s.driver()
	report, err := d.Send(t.Context(), station.StopAllCommand(), station.StopCommand(dcc.Short(3)), station.StopCommand(dcc.Short(4)),
		station.StopCommand(dcc.Short(5)), station.StopAllCommand(), station.ReadCVCommand(29, ""))
	require.NoError(t, err)
	tally(t, report)
	assert.Equal(t, 6, report.Sent)
	assert.Equal(t, 3, report.Done)
	assert.Equal(t, 2, report.Refused)
	assert.Equal(t, 1, report.Unexpected)
	assert.Equal(t, &station.Refused{Code: "-222", Text: "Data out of range"}, report.FirstRefused)
	assert.Equal(t, "hm", report.FirstUnexpected.Got)
	assert.Equal(t, 3*time.Second, (report.Answered - report.HandedOver).Truncate(time.Second))
}

func TestSendOfNothingSendsNothing(t *testing.T) {
	s := answering(t)
	report, err := s.driver().Send(t.Context())
	require.NoError(t, err)
	assert.Zero(t, report.Sent)
	assert.Empty(t, s.commands())
}

func TestFloodCountsLostAnswersAndGoesOn(t *testing.T) {
	s := answering(t)
	// Every tenth answer is lost.
	for i := range 1000 {
		if i%10 == 9 {
			s.to(lightOn)
		} else {
			s.to(lightOn, at(0, fine))
		}
	}
	s.to(lightOff, at(0, fine))
	d := s.driver()
	report, err := d.Flood(t.Context(), 5*time.Second)
	require.NoError(t, err)
	tally(t, report)
	assert.Positive(t, report.Lost)
	assert.Positive(t, report.Done)
	s.to(stopAll, at(0, fine))
	require.NoError(t, d.StopAll(t.Context()))
}

func TestFloodOfADeadStationEndsWithItsError(t *testing.T) {
	s := answering(t)
	d := s.driver()
	require.NoError(t, d.Resynchronise(t.Context()))
	s.answers = map[string][][]says{}
	report, err := d.Flood(t.Context(), time.Minute)
	require.ErrorIs(t, err, link.ErrTimeout)
	tally(t, report)
	assert.Equal(t, 4, report.Sent)
	assert.Equal(t, 4, report.Lost)
	assert.Less(t, s.clock.Now(), 10*time.Second)
}

func TestFloodEndsWhenThePlugIsPulled(t *testing.T) {
	s := answersAll(t)
	d := s.driver()
	require.NoError(t, d.Resynchronise(t.Context()))
	s.clock.At(s.clock.Now()+100*time.Millisecond, func() { assert.NoError(t, s.near.Close()) })
	report, err := d.Flood(t.Context(), time.Minute)
	require.ErrorIs(t, err, link.ErrClosed)
	tally(t, report)
	assert.Positive(t, report.Done)
}
