package station_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	read29   = "CV:READ? 29;:SYST:ERR?"
	read8    = "CV:READ? 8;:SYST:ERR?"
	stopAll  = "LOCO:STOP ALL;:SYST:ERR?"
	powerOn  = "TRAC:POW MAIN,ON;:SYST:ERR?"
	readTime = 6 * time.Second // [operation.read_cv] timeout of the reference dialect
)

// terse is a dialect with nothing that brings it into step, with events and with a busy answer.
func terse(t *testing.T) *station.Dialect {
	t.Helper()
	d, err := station.ParseDialect("terse.dialect.toml", []byte(`
name = "terse"
[time]
answer = "500ms"
busy_pause = "30ms"
quiet = "100ms"
[words.power]
on = "1"
off = "0"
[words.track]
main = "m"
[[answers.common]]
means = "done"
pattern = "ok"
[[answers.common]]
means = "busy"
pattern = "later"
[[answers.common]]
means = "event"
pattern = "heard (.*)"
[[event]]
name = "temperature"
pattern = "hot [0-9]+"
[operation.stop_all]
send = "halt"
[operation.set_power]
send = "power {track} {power}"
[operation.read_cv]
send = "cv {cv}"
fixed = { method = "paged" }
[[operation.read_cv.answer]]
means = "value"
pattern = "(?P<value>[0-9]+)"
[[operation.read_cv.answer]]
means = "value"
pattern = "blank"
value = "255"
`))
	require.NoError(t, err)
	return d
}

func TestTimeoutCountsFromTheLastByteHandedOver(t *testing.T) {
	s := answering(t)
	d := s.driver()
	_, err := d.ReadCV(t.Context(), 29, "")
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Contains(t, err.Error(), `station: read_cv cv=29 method=default: answer to "CV:READ? 29;:SYST:ERR?"`)
	last := d.LastExchange()
	assert.Equal(t, readTime, s.clock.Now()-last.HandedOver)
	assert.Zero(t, last.Answered)
	assert.Zero(t, last.RoundTrip())
	assert.Equal(t, err, last.Err)
}

func TestLateAnswerIsNotTakenForTheNextOperations(t *testing.T) {
	for _, late := range []time.Duration{
		time.Millisecond,        // on its way when the next operation begins
		1500 * time.Millisecond, // while the driver comes into step
		5 * time.Second,
	} {
		t.Run(late.String(), func(t *testing.T) {
			s := answering(t)
			s.to(read29, at(readTime+late, `77;0,"No error"`))
			s.to(read8, at(0, `8;0,"No error"`))
			// A station answers in order: also the queries that bring it into step wait for the late answer.
			s.answers["*CLS;*IDN?"] = nil
			s.to("*CLS;*IDN?", at(0, "maker,model,1,2"))
			s.to("*CLS;*IDN?", at(late, "maker,model,1,2"))
			s.to("*CLS;*IDN?", at(max(0, late-2*time.Second), "maker,model,1,2"))
			s.to("*CLS;*IDN?", at(max(0, late-4*time.Second), "maker,model,1,2"))
			d := s.driver()

			_, err := d.ReadCV(t.Context(), 29, "")
			require.ErrorIs(t, err, link.ErrTimeout)
			value, err := d.ReadCV(t.Context(), 8, "")
			require.NoError(t, err)
			assert.EqualValues(t, 8, value)
			lines, more := d.Unsolicited()
			assert.Zero(t, more)
			require.Len(t, lines, 1)
			assert.Equal(t, `77;0,"No error"`, lines[0].Text)
			assert.Empty(t, lines[0].Event)

			value, err = d.ReadCV(t.Context(), 8, "")
			require.NoError(t, err, "and it stays in step")
			assert.EqualValues(t, 8, value)
		})
	}
}

func TestLateAnswerWithoutResynchroniseIsPassedOverWithinTheQuietTime(t *testing.T) {
	s := answering(t)
	s.to("cv 1", at(580*time.Millisecond, "1"))
	s.to("cv 2", at(0, "2"))
	d := station.NewDriver(terse(t), s.near, s.clock)
	_, err := d.ReadCV(t.Context(), 1, station.Paged)
	require.ErrorIs(t, err, link.ErrTimeout)
	value, err := d.ReadCV(t.Context(), 2, station.Paged)
	require.NoError(t, err)
	assert.EqualValues(t, 2, value)
	assert.Equal(t, []string{"cv 1", "cv 2"}, s.heard)
}

func TestLateAnswerThatComesInPiecesIsPassedOverToItsEnd(t *testing.T) {
	s := answering(t)
	s.to("cv 1", says{580 * time.Millisecond, "7"}, says{660 * time.Millisecond, "7\n"})
	s.to("cv 2", at(100*time.Millisecond, "2"))
	d := station.NewDriver(terse(t), s.near, s.clock)
	_, err := d.ReadCV(t.Context(), 1, station.Paged)
	require.ErrorIs(t, err, link.ErrTimeout)
	value, err := d.ReadCV(t.Context(), 2, station.Paged)
	require.NoError(t, err)
	assert.EqualValues(t, 2, value)
	lines, _ := d.Unsolicited()
	require.Len(t, lines, 1)
	assert.Equal(t, "77", lines[0].Text)
}

func TestGarbledAnswerLeadsBackIntoStep(t *testing.T) {
	s := answering(t)
	s.to(read29, at(0, "\x00\xff<script>"), at(time.Millisecond, `77;0,"No error"`))
	s.to(read8, at(0, `8;0,"No error"`))
	d := s.driver()
	_, err := d.ReadCV(t.Context(), 29, "")
	var garbled *station.GarbledMessage
	require.ErrorAs(t, err, &garbled)
	assert.Equal(t, "\x00\xff<script>", garbled.Got)
	assert.NotContains(t, err.Error(), "\x00", "errors quote what a station says")
	value, err := d.ReadCV(t.Context(), 8, "")
	require.NoError(t, err)
	assert.EqualValues(t, 8, value)
}

func TestOverlongAnswerIsATypedErrorAndTheNextOperationWorks(t *testing.T) {
	s := answering(t)
	s.to(read29, at(0, strings.Repeat("A", 1<<20)))
	s.to(read8, at(0, `8;0,"No error"`))
	d := s.driver()
	_, err := d.ReadCV(t.Context(), 29, "")
	var long *link.LongLineError
	require.ErrorAs(t, err, &long)
	assert.Equal(t, 1<<20, long.Length)
	assert.Less(t, len(err.Error()), 400)
	value, err := d.ReadCV(t.Context(), 8, "")
	require.NoError(t, err)
	assert.EqualValues(t, 8, value)
}

func TestLinesBeforeAnOperationAreNoAnswers(t *testing.T) {
	s := answering(t)
	s.to(stopAll, at(0, fine), at(time.Millisecond, `-350,"Queue overflow"`))
	d := s.driver()
	require.NoError(t, d.StopAll(t.Context()))
	require.NoError(t, s.clock.Wait(t.Context(), time.Second))
	s.answers[stopAll] = nil
	s.to(stopAll, at(0, fine))
	require.NoError(t, d.StopAll(t.Context()))
	lines, _ := d.Unsolicited()
	require.Len(t, lines, 1)
	assert.Equal(t, `-350,"Queue overflow"`, lines[0].Text)
	lines, _ = d.Unsolicited()
	assert.Empty(t, lines, "each is told once")
}

func TestHalfALineBeforeAnOperationDoesNotSpoilItsAnswer(t *testing.T) {
	s := answering(t)
	s.to(stopAll, at(0, fine), says{time.Millisecond, "noise"})
	d := s.driver()
	require.NoError(t, d.StopAll(t.Context()))
	require.NoError(t, s.clock.Wait(t.Context(), time.Second))
	require.NoError(t, d.StopAll(t.Context()))
}

func TestNoiseBeforeTheFirstOperationIsPassedOver(t *testing.T) {
	s := answering(t)
	_, err := s.far.Write(t.Context(), []byte("boot 1.0\nready"), 0)
	require.NoError(t, err)
	s.to(stopAll, at(0, fine))
	require.NoError(t, s.driver().StopAll(t.Context()))
}

func TestEventsBetweenQuestionAndAnswerAreKeptApart(t *testing.T) {
	s := answering(t)
	s.to("power m 1", at(0, "hot 71"), at(time.Millisecond, "heard power"), at(2*time.Millisecond, "ok"))
	d := station.NewDriver(terse(t), s.near, s.clock)
	require.NoError(t, d.SetPower(t.Context(), station.Main, true))
	lines, more := d.Unsolicited()
	assert.Zero(t, more)
	handed := d.LastExchange().HandedOver
	assert.Equal(t, []station.Unsolicited{
		{Received: handed + 2*time.Millisecond, Event: "temperature", Text: "hot 71"},
		{Received: handed + 3*time.Millisecond, Event: "", Text: "heard power"},
	}, lines)
}

func TestStationThatTalksOnlyEventsTimesOut(t *testing.T) {
	s := answering(t)
	var talk func()
	talk = func() {
		_, err := s.far.Write(t.Context(), []byte("hot 99\n"), 0)
		require.NoError(t, err)
		s.clock.At(s.clock.Now()+10*time.Millisecond, talk)
	}
	d := station.NewDriver(terse(t), s.near, s.clock)
	s.to("halt", at(0, "ok"))
	require.NoError(t, d.StopAll(t.Context()))
	s.answers["halt"] = nil
	talk()
	err := d.StopAll(t.Context())
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Equal(t, 500*time.Millisecond, s.clock.Now()-d.LastExchange().HandedOver)

	err = d.StopAll(t.Context())
	require.ErrorIs(t, err, link.ErrTimeout, "it never is quiet")
	assert.Contains(t, err.Error(), "talks without pause")
	for range 10 {
		_ = d.StopAll(t.Context())
	}
	lines, more := d.Unsolicited()
	assert.Len(t, lines, 1000)
	assert.Positive(t, more)
}

func TestBusyStationIsAskedAgainUntilTheTimeHasPassed(t *testing.T) {
	s := answering(t)
	s.to("halt", at(0, "later"))
	s.to("halt", at(0, "later"))
	s.to("halt", at(0, "ok"))
	d := station.NewDriver(terse(t), s.near, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	assert.Equal(t, []string{"halt", "halt", "halt"}, s.heard)
	last := d.LastExchange()
	assert.Equal(t, 3, last.Tries)
	assert.Equal(t, 2*time.Millisecond, last.RoundTrip())
	assert.Equal(t, 2*(30+2)*time.Millisecond, last.HandedOver-last.Begun)

	s.answers["halt"] = [][]says{{at(0, "later")}}
	began := s.clock.Now()
	err := d.StopAll(t.Context())
	require.ErrorIs(t, err, station.ErrBusy)
	assert.InDelta(t, float64(2500*time.Millisecond), float64(s.clock.Now()-began), float64(40*time.Millisecond), "write and answer time")
}

func TestValueMayBeGivenByTheDialect(t *testing.T) {
	s := answering(t)
	s.to("cv 7", at(0, "blank"))
	d := station.NewDriver(terse(t), s.near, s.clock)
	value, err := d.ReadCV(t.Context(), 7, "")
	require.NoError(t, err)
	assert.EqualValues(t, 255, value)
}

func TestWhatTheDialectCannotAskForIsNotSent(t *testing.T) {
	s := answering(t)
	ref, brief := s.driver(), station.NewDriver(terse(t), s.near, s.clock)
	for name, call := range map[string]func() error{
		"operation":       func() error { return brief.Reset(t.Context()) },
		"track":           func() error { return brief.SetPower(t.Context(), station.Programming, true) },
		"method":          func() error { _, err := brief.ReadCV(t.Context(), 1, station.Direct); return err },
		"short from 128":  func() error { return ref.Stop(t.Context(), dcc.Short(200)) },
		"long below 128":  func() error { return ref.Stop(t.Context(), dcc.Long(127)) },
		"all locomotives": func() error { return ref.Stop(t.Context(), dcc.Broadcast) },
		"in a flood":      func() error { _, err := brief.Flood(t.Context(), time.Second); return err },
	} {
		t.Run(name, func(t *testing.T) {
			err := call()
			require.ErrorIs(t, err, station.ErrNotSupported)
			var why *station.NotSupported
			require.ErrorAs(t, err, &why)
			assert.NotEmpty(t, why.Why)
		})
	}
	assert.Empty(t, s.heard)
	assert.Zero(t, s.clock.Now())
}

func TestSilentStationIsAskedThreeTimesBeforeItIsGivenUp(t *testing.T) {
	s := answering(t)
	s.answers = map[string][][]says{}
	err := s.driver().StopAll(t.Context())
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Contains(t, err.Error(), "coming into step")
	assert.Equal(t, []string{"*CLS;*IDN?", "*CLS;*IDN?", "*CLS;*IDN?"}, s.heard, "and the operation is not sent")
	assert.Equal(t, 6*time.Second, s.clock.Now())
}

func TestPulledPlugIsAnErrorOfTheLink(t *testing.T) {
	s := answering(t)
	s.to(stopAll, at(0, fine))
	d := s.driver()
	require.NoError(t, d.StopAll(t.Context()))
	require.NoError(t, s.far.Close())
	require.ErrorIs(t, d.StopAll(t.Context()), link.ErrClosed)
	require.ErrorIs(t, d.StopAll(t.Context()), link.ErrClosed)
}

func TestStationThatCeasesToReadIsToldByTheWriteTime(t *testing.T) {
	s := answering(t)
	s.to(stopAll, at(0, fine))
	d := s.driver()
	require.NoError(t, d.StopAll(t.Context()))
	s.far.Block(true)
	began := s.clock.Now()
	err := d.StopAll(t.Context())
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Contains(t, err.Error(), `0 of 25 bytes of "LOCO:STOP ALL;:SYST:ERR?" handed over`)
	assert.Equal(t, 2*time.Second, s.clock.Now()-began)
	s.far.Block(false)
	require.NoError(t, d.StopAll(t.Context()))
}

// stumbling hands over only a part of one write.
type stumbling struct {
	link.Link
	only int
}

func (s *stumbling) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if s.only == 0 {
		return s.Link.Write(ctx, p, timeout)
	}
	n, err := s.Link.Write(ctx, p[:s.only], timeout)
	s.only = 0
	if err == nil {
		err = link.ErrTimeout
	}
	return n, err
}

func TestHalfSentCommandIsEndedBeforeTheNext(t *testing.T) {
	s := answering(t)
	s.to(stopAll, at(0, fine))
	s.to(powerOn, at(0, fine))
	s.to("TRAC:POW M", at(0, `-113,"Undefined header"`))
	half := &stumbling{Link: s.near}
	d := station.NewDriver(reference(t), half, s.clock)
	require.NoError(t, d.StopAll(t.Context()))
	half.only = 10
	require.ErrorIs(t, d.SetPower(t.Context(), station.Main, true), link.ErrTimeout)
	require.NoError(t, d.SetPower(t.Context(), station.Main, true))
	assert.Equal(t, []string{stopAll, "TRAC:POW M", powerOn}, s.commands())
}

func TestEndOfTheContextLeavesAnAnswerThatIsNotMistaken(t *testing.T) {
	s := answering(t)
	s.to(read29, at(100*time.Millisecond, `77;0,"No error"`))
	s.to(read8, at(0, `8;0,"No error"`))
	d := s.driver()
	require.NoError(t, d.Resynchronise(t.Context()))
	ctx, cancel := context.WithCancel(t.Context())
	s.clock.At(s.clock.Now()+50*time.Millisecond, cancel)
	_, err := d.ReadCV(ctx, 29, "")
	require.ErrorIs(t, err, context.Canceled)
	require.NoError(t, s.clock.Wait(t.Context(), 40*time.Millisecond))
	value, err := d.ReadCV(t.Context(), 8, "")
	require.NoError(t, err)
	assert.EqualValues(t, 8, value)
}

func TestObserverSeesEveryExchange(t *testing.T) {
	s := answering(t)
	s.to(stopAll, at(0, fine))
	s.to(read29, at(0, `110,"No acknowledge"`))
	var seen []station.Exchange
	d := s.driver(station.Observe(func(e station.Exchange) { seen = append(seen, e) }))
	require.NoError(t, d.StopAll(t.Context()))
	_, err := d.ReadCV(t.Context(), 29, "")
	require.ErrorIs(t, err, station.ErrNoAcknowledge)
	require.Len(t, seen, 2)
	assert.Equal(t, station.StopAll, seen[0].Operation)
	assert.NoError(t, seen[0].Err)
	assert.Equal(t, d.LastExchange(), seen[1])
	assert.ErrorIs(t, seen[1].Err, station.ErrNoAcknowledge)
}

func TestRecordedSessionPlaysBackAsAStation(t *testing.T) {
	run := func(l link.Link, c link.Clock) (byte, time.Duration, error) {
		d := station.NewDriver(reference(t), l, c)
		if err := d.StopAll(t.Context()); err != nil {
			return 0, 0, err
		}
		value, err := d.ReadCV(t.Context(), 29, "")
		return value, d.LastExchange().RoundTrip(), err
	}
	s := answering(t)
	s.to(stopAll, at(0, fine))
	s.to(read29, at(300*time.Millisecond, `6;0,"No error"`))
	recorder := link.Record(s.near, s.clock)
	value, took, err := run(recorder, s.clock)
	require.NoError(t, err)
	assert.EqualValues(t, 6, value)

	clock := new(link.VirtualClock)
	played := link.Play(recorder.Log(), clock)
	again, tookAgain, err := run(played, clock)
	require.NoError(t, err)
	assert.Equal(t, value, again)
	assert.Equal(t, took, tookAgain)
	assert.True(t, played.Done())
}
