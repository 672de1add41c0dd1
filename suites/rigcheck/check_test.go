package rigcheck_test

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/rigcheck"
)

// bare is a rig without tracks: a link to a scripted station on virtual time.
type bare struct {
	*link.VirtualClock
	near, far *link.PipeEnd
}

func (b *bare) Describe() harness.Description {
	return harness.Description{Name: "bare", Kind: "bench"}
}
func (b *bare) Link() link.Link                     { return b.near }
func (b *bare) Track(station.Track) harness.Track   { return nil }
func (b *bare) Restart(context.Context) error       { return nil }
func (b *bare) Safe() error                         { return nil }
func (b *bare) Close() error                        { return b.near.Close() }
func (b *bare) say(t require.TestingT, text string) { b.write(t, text) }
func (b *bare) write(t require.TestingT, text string) {
	_, err := b.far.Write(context.Background(), []byte(text), time.Second)
	require.NoError(t, err)
}

// newBare returns a rig whose station gives each message, without its line end, to answer, and sends what that returns.
func newBare(t *testing.T, answer func(message string) string) *bare {
	b := &bare{VirtualClock: new(link.VirtualClock)}
	b.near, b.far = link.Pipe(b.VirtualClock, time.Millisecond)
	held := ""
	b.far.OnArrival(func() {
		p := make([]byte, 4096)
		n, err := b.far.Read(context.Background(), p, 0)
		if err != nil {
			return
		}
		held += string(p[:n])
		for {
			message, rest, whole := strings.Cut(held, "\n")
			if !whole {
				return
			}
			held = rest
			if text := answer(message); text != "" {
				b.write(t, text)
			}
		}
	})
	return b
}

func file(t *testing.T) *station.File {
	t.Helper()
	f, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	return f
}

const name = "maker,model,7,1.2"

// reference answers as a station of the reference language does that knows nothing but its name.
func reference(message string) string {
	if strings.HasSuffix(message, "*IDN?") {
		return name + "\n"
	}
	return "-113,\"Undefined header\"\n"
}

func check(t *testing.T, b harness.Rig) *rigcheck.Report {
	t.Helper()
	return checkAs(t, b, file(t))
}

func checkAs(t *testing.T, b harness.Rig, file *station.File) *rigcheck.Report {
	t.Helper()
	r, err := rigcheck.Check(t.Context(), b, file, rigcheck.Options{})
	require.NoError(t, err)
	// A report is JSON whatever the station says.
	data, err := json.Marshal(r)
	require.NoError(t, err)
	require.NotContains(t, string(data), "\x1b")
	require.NotNil(t, r.Findings)
	return r
}

func found(r *rigcheck.Report) string {
	var all []string
	for _, f := range r.Findings {
		all = append(all, string(f.Severity)+": "+f.What+" / "+f.Hint)
	}
	return strings.Join(all, "\n")
}

func TestTheSimulatedRigIsWholeAndQuiet(t *testing.T) {
	rig, err := simulated.New(simulated.Options{Name: "r", Seed: 1})
	require.NoError(t, err)
	defer rig.Close()
	r := check(t, rig)
	assert.Empty(t, r.Findings)
	assert.Empty(t, r.Worst())
	require.NotNil(t, r.Identity)
	assert.NotEmpty(t, r.Identity.Maker)
	assert.Equal(t, 100, r.RoundTrip.Asked)
	assert.Equal(t, 100, r.RoundTrip.Answered)
	assert.Equal(t, "identify", r.RoundTrip.Question)
	assert.Positive(t, r.RoundTrip.Median)
	assert.LessOrEqual(t, r.RoundTrip.Median, r.RoundTrip.P95)
	assert.LessOrEqual(t, r.RoundTrip.P95, r.RoundTrip.Max)
	assert.False(t, r.Echo)
	assert.Positive(t, r.LineEnds.LF)
	assert.Zero(t, r.LineEnds.CR+r.LineEnds.CRLF)
	assert.Zero(t, r.Unsolicited.Lines)
	checks := 0
	for _, q := range catalogue.All() {
		checks += len(q.Tracks)
	}
	sum := 0
	for _, track := range r.Tracks {
		assert.True(t, track.Claimed && track.Reached)
		assert.Empty(t, track.Cannot)
		assert.Zero(t, track.NotFitted)
		sum += track.Checks
	}
	assert.Equal(t, checks, sum)
}

func TestARigWithoutTracksLeavesEveryRequirementNotFitted(t *testing.T) {
	r := check(t, newBare(t, reference))
	assert.Equal(t, rigcheck.Remark, r.Worst(), found(r))
	for _, track := range r.Tracks {
		assert.False(t, track.Reached)
		assert.Empty(t, track.Can)
		assert.Len(t, track.Cannot, 9)
		assert.Equal(t, track.Checks, track.NotFitted+track.NotClaimed)
	}
	assert.Contains(t, found(r), "does not reach the programming track")
	assert.Equal(t, "1.2", r.Identity.Version)
	assert.Equal(t, 2*time.Millisecond, r.RoundTrip.Median, "a millisecond each way")
}

func TestASilentStationIsAFaultOfTheRig(t *testing.T) {
	r := check(t, newBare(t, func(string) string { return "" }))
	assert.Equal(t, rigcheck.Fault, r.Worst())
	assert.Contains(t, found(r), "fault: the station is silent")
	assert.Equal(t, 3, r.RoundTrip.Asked, "silence is not waited for a hundred times")
	assert.Nil(t, r.Identity)
}

func TestALinkThatBreaksIsAFaultOfTheRig(t *testing.T) {
	b := newBare(t, reference)
	b.At(700*time.Millisecond, func() { require.NoError(t, b.far.Close()) })
	r := check(t, b)
	assert.Equal(t, rigcheck.Fault, r.Worst())
	assert.Contains(t, found(r), "fault: the link broke")
	assert.Less(t, r.RoundTrip.Asked, 100)
}

// adapted is a station file with an adapter.
func adapted(t *testing.T) *station.File {
	t.Helper()
	f, err := station.ParseFile("my.station.toml", []byte("name = \"mine\"\n[claims]\ntracks = [\"main\"]\n[adapter]\ncommand = [\"mine\"]\n"), nil)
	require.NoError(t, err)
	return f
}

// adapting answers as an adapter does that knows one operation; about it says how that ends.
func adapting(about string) func(message string) string {
	return func(message string) string {
		var q struct {
			ID  int
			Ask string
		}
		if json.Unmarshal([]byte(message), &q) != nil {
			return ""
		}
		answer := map[string]string{"hello": `"hello":{"version":1,"name":"mine","operations":["identify"]}`, "ping": `"done":true`,
			"identify": about}[q.Ask]
		return fmt.Sprintf("{\"id\":%d,%s}\n", q.ID, answer)
	}
}

func TestWhatAnAdapterDoesIsNoMatterOfCablesAndDialects(t *testing.T) {
	dead := newBare(t, func(string) string { return "" })
	require.NoError(t, dead.far.Close())
	for name, c := range map[string]struct {
		rig  *bare
		want string
	}{
		"dead":               {dead, "fault: the adapter has ended"},
		"mute":               {newBare(t, func(string) string { return "" }), "fault: the adapter has got nothing"},
		"breaks its rules":   {newBare(t, adapting(`"value":7`)), "an adapter has to keep to"},
		"has silent station": {newBare(t, adapting(`"silent":true`)), "fault: the adapter has got nothing from the station"},
		"is well":            {newBare(t, adapting(`"value":{"maker":"x"}`)), ""},
	} {
		t.Run(name, func(t *testing.T) {
			r := checkAs(t, c.rig, adapted(t))
			assert.Contains(t, found(r), c.want)
			assert.NotContains(t, found(r), "cable")
			assert.NotContains(t, found(r), "baud")
			assert.NotContains(t, found(r), "dialect")
			if c.want == "" {
				assert.NotContains(t, found(r), "adapter")
			} else {
				assert.Equal(t, rigcheck.Fault, r.Worst(), found(r))
			}
		})
	}
}

func TestQuestionsThatAreNotAnsweredAreCounted(t *testing.T) {
	n := 0
	r := check(t, newBare(t, func(m string) string {
		if n++; n%20 == 0 {
			return ""
		}
		return reference(m)
	}))
	assert.Equal(t, rigcheck.Fault, r.Worst(), found(r))
	assert.Regexp(t, `\d of 100 questions were not answered`, found(r))
	assert.Greater(t, r.RoundTrip.Answered, 80)
}

func TestWhatTheDialectDoesNotFitIsNamed(t *testing.T) {
	for name, c := range map[string]struct {
		answer func(string) string
		want   string
	}{
		"CR":                                    {func(string) string { return name + "\r" }, "end in CR"},
		"CRLF, which the pattern does not take": {func(string) string { return name + ",more\r\n" }, "end in CRLF"},
		"no end":                                {func(string) string { return name }, "no line from the station ends"},
		"LF, as it should be":                   {func(m string) string { return "hello\n" }, "nothing that the dialect takes"},
		"echo":                                  {func(m string) string { return m + "\n" }, "sends back what it is sent"},
	} {
		t.Run(name, func(t *testing.T) {
			r := check(t, newBare(t, c.answer))
			assert.Equal(t, rigcheck.Configuration, r.Worst(), found(r))
			assert.Contains(t, found(r), c.want)
		})
	}
}

func TestAnotherBaudRateLooksLikeNoText(t *testing.T) {
	r := check(t, newBare(t, func(string) string { return "\x80\xfe\x00\x1c\x9f\xe0" }))
	assert.Equal(t, rigcheck.Fault, r.Worst())
	assert.Contains(t, found(r), "baud rate")
	assert.True(t, r.LineEnds.Binary)
}

func TestWhatNobodyAskedForIsCountedAndQuoted(t *testing.T) {
	b := newBare(t, reference)
	b.say(t, "hello, board here\n")
	b.At(510*time.Millisecond, func() { b.say(t, "\x1b[2J<b>note\n") })
	r := check(t, b)
	assert.Equal(t, "hello, board here\n", r.Before.Start)
	assert.Equal(t, 1, r.Unsolicited.Lines)
	assert.Equal(t, "\x1b[2J<b>note", r.Unsolicited.First)
}

func TestAStationThatNeverPausesHoldsNobody(t *testing.T) {
	b := newBare(t, reference)
	var babble func()
	babble = func() {
		if b.Now() < 10*time.Minute {
			b.say(t, "!"+strings.Repeat("x", 50)+"\n")
			b.At(b.Now()+2*time.Millisecond, babble)
		}
	}
	b.At(0, babble)
	r := check(t, b)
	assert.True(t, r.Before.Endless)
	assert.Contains(t, found(r), "talks a lot")
	assert.Less(t, b.Now(), 5*time.Minute)
}

func TestAStationThatRestartsByItselfIsAFault(t *testing.T) {
	f, err := station.LoadFS(rigs.Files, "words.station.toml")
	require.NoError(t, err)
	speaks, err := station.NewResponder(f.Dialect)
	require.NoError(t, err)
	b := &bare{VirtualClock: new(link.VirtualClock)}
	b.near, b.far = link.Pipe(b.VirtualClock, time.Millisecond)
	b.far.OnArrival(func() {
		p := make([]byte, 4096)
		n, err := b.far.Read(t.Context(), p, 0)
		require.NoError(t, err)
		for _, q := range speaks.Feed(p[:n]) {
			answer, err := speaks.Answer(q, station.Result{Means: station.MeansValue, Identity: station.Identity{Maker: "m", Model: "o", Serial: "1", Version: "2"}})
			require.NoError(t, err)
			b.say(t, string(answer))
		}
	})
	started, err := speaks.Started()
	require.NoError(t, err)
	for _, at := range []time.Duration{650, 700} {
		b.At(at*time.Millisecond, func() { b.say(t, string(started)) })
	}
	r, err := rigcheck.Check(t.Context(), b, f, rigcheck.Options{})
	require.NoError(t, err)
	assert.Equal(t, 2, r.Restarts)
	assert.Contains(t, found(r), "fault: the station has restarted by itself, 2 times")
}

func TestTheTimeForMeasuringIsLimited(t *testing.T) {
	rig, err := simulated.New(simulated.Options{Name: "r", Seed: 1})
	require.NoError(t, err)
	defer rig.Close()
	r, err := rigcheck.Check(t.Context(), rig, file(t), rigcheck.Options{Limit: 20 * time.Millisecond})
	require.NoError(t, err)
	assert.True(t, r.RoundTrip.Shortened)
	assert.Less(t, r.RoundTrip.Asked, 100)
	assert.Positive(t, r.RoundTrip.Answered)
}

func TestAnEndedContextEndsTheCheck(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := rigcheck.Check(ctx, newBare(t, reference), file(t), rigcheck.Options{})
	require.ErrorIs(t, err, context.Canceled)
}
