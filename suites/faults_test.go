package suites_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/link/linktest"
	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

// wiredRig is a simulated rig with another wire to the station.
type wiredRig struct {
	*simulated.Rig
	wire link.Link
}

func (r *wiredRig) Link() link.Link { return r.wire }

// wired returns a healthy simulated rig whose wire to the station is what between makes of it.
func wired(t *testing.T, o simulated.Options, between func(l link.Link, c link.Clock) link.Link) *wiredRig {
	t.Helper()
	rig, err := simulated.New(o)
	require.NoError(t, err)
	return &wiredRig{rig, between(rig.Link(), rig)}
}

// few is a selection with something of every kind: commands and packets, readings of values, a power cycle, a short, and
// answers that are waited for.
var few = suites.Selection{Requirements: []string{"OPS-001", "OPS-003", "ACC-001", "PWR-001", "SRV-001", "SRV-009", "OVL-001"}}

// healthy is what the few take on the rig's clock, and how many bytes go over the wire, both ways.
func healthy(t *testing.T) (took time.Duration, bytes int) {
	t.Helper()
	rig := wired(t, simulated.Options{Seed: 1}, func(l link.Link, c link.Clock) link.Link { return link.Record(l, c) })
	defer func() { require.NoError(t, rig.Close()) }()
	run, err := suites.Run(t.Context(), rig, reference(t), suites.Options{Selection: few})
	require.NoError(t, err)
	require.Equal(t, verdict.Conforms, run.Outcome, run.Statement)
	for _, e := range rig.wire.(*link.Recorder).Log().Entries {
		bytes += len(e.Bytes)
	}
	return run.RigTime, bytes
}

// lostTime is what a fault of the link may cost on the rig's clock: twice the time until a check has given up, and the
// times to make the rig safe.
const lostTime = 3 * time.Minute

// faulty runs the few over a faulty wire many times and returns the records, nil where the station could not be greeted.
// Whatever the wire does, nothing of it is held against the station, and nothing is left running.
func faulty(t *testing.T, between func(seed uint64, l link.Link, c link.Clock) link.Link) []*record.Record {
	t.Helper()
	return faultyBut(t, between, 0)
}

// faultyBut is faulty, but for so many runs that may fail by one thing that was measured while nothing was amiss on the
// line that could have shown.
func faultyBut(t *testing.T, between func(seed uint64, l link.Link, c link.Clock) link.Link, but int) []*record.Record {
	t.Helper()
	defer noLeak(t)()
	usual, _ := healthy(t)
	n := uint64(100)
	if testing.Short() {
		n = 10
	}
	var runs []*record.Record
	for seed := range n {
		rig := wired(t, simulated.Options{Seed: int64(seed)}, func(l link.Link, c link.Clock) link.Link { return between(seed, l, c) })
		run, err := suites.Run(t.Context(), rig, reference(t), suites.Options{Selection: few})
		if err != nil {
			assert.NotContains(t, err.Error(), "; the fault is the station's", "seed %d", seed)
			assert.Contains(t, []verdict.Outcome{verdict.Incomplete, verdict.Faulted}, run.Outcome, "seed %d", seed)
			runs = append(runs, nil)
		} else {
			runs = append(runs, run)
			if run.Totals.Fail == 1 && but > 0 && !strings.Contains(strings.Join(run.Notes, "\n"), "the link to the station") {
				but--
				require.NoError(t, rig.Close())
				continue
			}
			assert.NotEqual(t, verdict.DoesNotConform, run.Outcome, "seed %d: %s", seed, run.Statement)
			for _, r := range run.Results {
				assert.False(t, r.Verdict.Outside(), "seed %d: %s: %s: %s: %v", seed, r.Name(), r.Verdict, r.Reason, r.Failures)
			}
			assert.Less(t, run.RigTime, usual+lostTime, "seed %d", seed)
			if run.EndedEarly != "" {
				assert.Contains(t, run.Statement, "The run was ended early: ")
				assert.Contains(t, []int{verdict.ExitFault, verdict.ExitIncomplete}, run.ExitCode)
			}
		}
		require.NoError(t, rig.Close())
		if t.Failed() {
			t.FailNow()
		}
	}
	return runs
}

// noLeak notes what is running, and returns the check that no more is running than that. Each run of Ginkgo leaves one
// goroutine, which waits for interrupts until the process ends: nothing outside of Ginkgo can stop it.
func noLeak(t *testing.T) (check func()) {
	before := goleak.IgnoreCurrent()
	return func() {
		goleak.VerifyNone(t, before, goleak.IgnoreAnyFunction(
			"github.com/onsi/ginkgo/v2/internal/interrupt_handler.(*InterruptHandler).registerForInterrupts.func2"))
	}
}

// tally counts the verdicts of all runs.
func tally(runs []*record.Record) map[verdict.Verdict]int {
	all := map[verdict.Verdict]int{}
	for _, run := range runs {
		if run == nil {
			continue
		}
		for _, r := range run.Results {
			all[r.Verdict]++
		}
	}
	return all
}

func draw(seed uint64, n int) int { return rand.New(rand.NewPCG(seed, 7)).IntN(n) }

func TestAPulledPlugEndsTheRunAndIsTheLinksFault(t *testing.T) {
	_, bytes := healthy(t)
	runs := faulty(t, func(seed uint64, l link.Link, c link.Clock) link.Link {
		plug := linktest.Plugged(l, c)
		plug.Limit, plug.Absent = 5*time.Second, time.Hour
		plug.PullAfterSent(50 + draw(seed, bytes/3))
		return plug
	})
	ended := 0
	for _, run := range runs {
		if run == nil || run.Outcome == verdict.Conforms {
			continue // pulled before the first check, or after the last
		}
		assert.Equal(t, verdict.ExitFault, run.ExitCode, run.Statement)
		errors := 0
		for i, r := range run.Results {
			switch {
			case r.Verdict == verdict.Error:
				errors++
				assert.Contains(t, r.Reason, "the fault is the link's")
				assert.Contains(t, strings.Join(r.Notes, "\n"), "sen", "the last exchange is quoted")
			case errors > 0:
				assert.Equal(t, verdict.Excluded, r.Verdict, "check %d", i)
				assert.Contains(t, r.Reason, "the link to the station is lost")
				ended++
			}
		}
		assert.LessOrEqual(t, errors, 1)
	}
	assert.Greater(t, ended, len(runs), "most are pulled before the end")
}

func TestAPlugThatIsPutInAgainCostsOneCheck(t *testing.T) {
	_, bytes := healthy(t)
	back := 0
	for _, run := range faulty(t, func(seed uint64, l link.Link, c link.Clock) link.Link {
		plug := linktest.Plugged(l, c)
		plug.Limit, plug.Absent = 10*time.Second, time.Second
		if seed%2 == 0 {
			plug.PullAfterSent(100 + draw(seed, bytes/3))
		} else {
			plug.PullAfterReceived(100 + draw(seed, bytes/3))
		}
		return plug
	}) {
		if run == nil {
			continue
		}
		assert.Empty(t, run.EndedEarly)
		assert.LessOrEqual(t, run.Totals.Error+run.Totals.Inconclusive, 1, run.Statement)
		if run.Totals.Error == 1 {
			back++
			assert.Contains(t, strings.Join(run.Notes, "\n"), "the link lost and back again: 1")
			assert.GreaterOrEqual(t, run.Totals.Pass, 6)
		}
	}
	assert.Positive(t, back)
}

func TestAStationThatStopsReadingEndsTheRun(t *testing.T) {
	_, bytes := healthy(t)
	ended := 0
	for _, run := range faulty(t, func(seed uint64, l link.Link, c link.Clock) link.Link {
		return linktest.Unread(l, c, 50+draw(seed, bytes/3))
	}) {
		if run != nil && run.EndedEarly != "" {
			ended++
			assert.Equal(t, verdict.ExitFault, run.ExitCode)
			assert.Contains(t, run.EndedEarly, "does not take what is sent")
			assert.LessOrEqual(t, run.Totals.Error, 2)
		}
	}
	assert.Positive(t, ended)
}

func TestAStationThatFloodsEndsTheRun(t *testing.T) {
	usual, _ := healthy(t)
	ended := 0
	for _, run := range faulty(t, func(seed uint64, l link.Link, c link.Clock) link.Link {
		text := []string{"debug: tick\n", "#", "0,\"No error\"\n"}[seed%3]
		return linktest.Endless(l, c, text, 2000, time.Duration(draw(seed, int(usual))))
	}) {
		if run != nil && run.EndedEarly != "" {
			ended++
			assert.Equal(t, verdict.ExitIncomplete, run.ExitCode, run.Statement)
			assert.Regexp(t, "never is quiet|[0-9]+ bytes came, and no answer", run.EndedEarly)
		}
	}
	assert.Positive(t, ended)
}

// severed is a wire on which nothing arrives any more from some time on, in neither direction.
type severed struct {
	link.Link
	clock link.Clock
	from  time.Duration
}

func (s *severed) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if s.clock.Now() < s.from {
		return s.Link.Read(ctx, p, timeout)
	}
	if err := s.clock.Wait(ctx, timeout); err != nil {
		return 0, err
	}
	return 0, link.ErrTimeout
}

func (s *severed) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if s.clock.Now() < s.from {
		return s.Link.Write(ctx, p, timeout)
	}
	return len(p), ctx.Err()
}

func TestASilentStationEndsTheRunIncomplete(t *testing.T) {
	usual, _ := healthy(t)
	ended := 0
	for _, run := range faulty(t, func(seed uint64, l link.Link, c link.Clock) link.Link {
		return &severed{l, c, time.Duration(draw(seed, int(usual)))}
	}) {
		if run != nil && run.EndedEarly != "" {
			ended++
			assert.Equal(t, verdict.ExitIncomplete, run.ExitCode, run.Statement)
			assert.Contains(t, run.EndedEarly, "the station hangs, or the cable is out")
			assert.Equal(t, 2, run.Totals.Inconclusive)
			assert.Positive(t, run.Totals.Excluded)
		}
	}
	assert.Positive(t, ended)
}

// The reference language has no checksum. At the lowest rate most runs have one flip or none, and where the only one turns
// a digit of a command into another, nothing that is seen tells it from a station that does something else than it was
// told. That is allowed for; with any second sign of noise in the run it must not happen.
func TestANoisyLineIsNeverHeldAgainstTheStation(t *testing.T) {
	for rate, but := range map[float64]int{1e-5: 3, 1e-4: 0, 1e-3: 0, 1e-2: 0} { // of a bit to flip
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			runs := faultyBut(t, func(seed uint64, l link.Link, _ link.Clock) link.Link {
				return linktest.Noise(l, rate, seed)
			}, but)
			all := tally(runs)
			t.Logf("%v, %d stations not greeted", all, len(runs)-greeted(runs))
			if rate <= 1e-4 {
				assert.Positive(t, all[verdict.Pass])
			}
			if rate == 1e-3 {
				assert.Positive(t, all[verdict.Error])
			}
		})
	}
}

func greeted(runs []*record.Record) (n int) {
	for _, run := range runs {
		if run != nil {
			n++
		}
	}
	return n
}

func TestSplitAndMergedLinesChangeNothing(t *testing.T) {
	for _, run := range faulty(t, func(seed uint64, l link.Link, c link.Clock) link.Link {
		return linktest.Pieces(l, c, time.Millisecond, seed)
	}) {
		require.NotNil(t, run)
		assert.Equal(t, verdict.Conforms, run.Outcome, run.Statement)
	}
}

// announcing is the reference station's file, with an event for its starts.
func announcing(t *testing.T) *station.File {
	t.Helper()
	file := reference(t)
	data, err := os.ReadFile("../rigs/reference.dialect.toml")
	require.NoError(t, err)
	file.Dialect, err = station.ParseDialect("announcing.dialect.toml",
		append(data, "\n[[event]]\nname = \"start\"\npattern = \"READY\"\nrestart = true\n"...))
	require.NoError(t, err)
	return file
}

// interjecting puts lines between those of the station, each when its time has come.
type interjecting struct {
	link.Link
	clock  link.Clock
	text   string
	at     []time.Duration
	within bool // a line of the station
}

func (i *interjecting) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if len(i.at) > 0 && i.clock.Now() >= i.at[0] && !i.within {
		i.at = i.at[1:]
		return copy(p, i.text), nil
	}
	n, err := i.Link.Read(ctx, p, timeout)
	if n > 0 {
		i.within = p[n-1] != '\n'
	}
	return n, err
}

func TestAStationThatRestartsByItselfFailsTheCheck(t *testing.T) {
	// During OPS-001, SRV-001 and SRV-009.
	for _, at := range []time.Duration{700 * time.Millisecond, 4 * time.Second, 5 * time.Second} {
		rig := wired(t, simulated.Options{Seed: 1}, func(l link.Link, c link.Clock) link.Link {
			return &interjecting{Link: l, clock: c, text: "READY\n", at: []time.Duration{at}}
		})
		run, err := suites.Run(t.Context(), rig, announcing(t), suites.Options{Selection: few})
		require.NoError(t, err)
		require.NoError(t, rig.Close())
		assert.Equal(t, verdict.DoesNotConform, run.Outcome, "%v: %s", at, run.Statement)
		assert.Equal(t, 1, run.Totals.Fail)
		assert.Equal(t, 6, run.Totals.Pass, "the run goes on")
		for _, r := range run.Results {
			if r.Verdict == verdict.Fail {
				var actual []string
				for _, f := range r.Failures {
					actual = append(actual, f.Actual)
				}
				assert.Contains(t, strings.Join(actual, "\n"), "restarted by itself once during the check")
			}
		}
	}
}

func TestABootLoopFailsAndEndsTheRun(t *testing.T) {
	rig := wired(t, simulated.Options{Seed: 1}, func(l link.Link, c link.Clock) link.Link {
		i := &interjecting{Link: l, clock: c, text: "READY\n"}
		for k := range time.Duration(2000) {
			i.at = append(i.at, 4*time.Second+k*20*time.Millisecond)
		}
		return i
	})
	run, err := suites.Run(t.Context(), rig, announcing(t), suites.Options{Selection: few})
	require.NoError(t, err)
	require.NoError(t, rig.Close())
	assert.Equal(t, verdict.DoesNotConform, run.Outcome)
	assert.Contains(t, run.EndedEarly, "restarts again and again")
	assert.Contains(t, run.EndedEarly, "times since 4")
	assert.Positive(t, run.Totals.Excluded)
}

// replying changes the answers of the station to some lines, each time in the same way.
type replying struct {
	link.Link
	to       string // the beginning of the line
	instead  string // empty: nothing
	swallows bool
}

func (r *replying) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	r.swallows = bytes.HasPrefix(p, []byte(r.to))
	return r.Link.Write(ctx, p, timeout)
}

func (r *replying) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := r.Link.Read(ctx, p, timeout)
	if !r.swallows || n == 0 {
		return n, err
	}
	if bytes.IndexByte(p[:n], '\n') < 0 {
		return r.Read(ctx, p, timeout)
	}
	r.swallows = false
	if r.instead == "" {
		return r.Link.Read(ctx, p, timeout)
	}
	return copy(p, r.instead+"\n"), nil
}

// What the station does each time it is asked, over a line that carries everything else, is the station's fault.
func TestAStationThatIsAtFaultStillFails(t *testing.T) {
	for name, instead := range map[string]string{
		"no answer to one command":      "",
		"a wrong answer each time":      "certainly",
		"a refusal":                     `-113,"Undefined header"`,
		"the same damage each time":     "0,\"No \x81rror\"",
		"a very long answer":            strings.Repeat("A", 900) + strings.Repeat("B", 900),
		"not what the station has seen": `120,"Track tripped"`,
	} {
		t.Run(name, func(t *testing.T) {
			rig := wired(t, simulated.Options{Seed: 1}, func(l link.Link, _ link.Clock) link.Link {
				return &replying{Link: l, to: "ACC:OUTP", instead: instead}
			})
			run, err := suites.Run(t.Context(), rig, reference(t), suites.Options{Selection: few})
			require.NoError(t, err)
			require.NoError(t, rig.Close())
			assert.Equal(t, verdict.DoesNotConform, run.Outcome, run.Statement)
			assert.Equal(t, 1, run.Totals.Fail)
			assert.Equal(t, 6, run.Totals.Pass)
			assert.Empty(t, run.EndedEarly)
			for _, r := range run.Results {
				if r.ID == "ACC-001" {
					assert.Equal(t, verdict.Fail, r.Verdict, r.Reason)
					assert.Contains(t, strings.Join(r.Notes, "\n"), "ACC:OUTP", "the last exchange is quoted")
				}
			}
		})
	}
}

var _ harness.Rig = (*wiredRig)(nil)
