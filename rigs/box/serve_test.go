//go:build simavr && linux

package box

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/link"
	protocol "bufferstop/harness/probe"
	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/bench"
	"bufferstop/rigs/firmware"
	"bufferstop/rigs/serving"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A cable is a port that can be pulled: whoever uses it finds it gone, and the box has a line to which nobody is connected.
type cable struct{ serving.Port }

func (c cable) Read(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	n, err := c.Port.Read(ctx, b, timeout)
	if errors.Is(err, link.ErrClosed) {
		time.Sleep(tick)
		return 0, link.ErrTimeout
	}
	return n, err
}

func (c cable) Write(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	n, err := c.Port.Write(ctx, b, timeout)
	if errors.Is(err, link.ErrClosed) {
		return len(b), nil
	}
	return n, err
}

// A served box is one that is served at two pseudo-terminals.
type served struct {
	station, probe serving.Port
	rig            *bench.File
	file           *station.File
	mu             sync.Mutex
	events         []Event
	end            func() *Box // ends it, and gives what was in it
}

// serve serves a box for as long as the test lasts.
func serve(t *testing.T) *served {
	t.Helper()
	s := new(served)
	o := options(t, "atmega2560")
	o.Tell = func(e Event) {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.events = append(s.events, e)
	}
	folder := t.TempDir()
	var err error
	s.station, err = serving.PTY(filepath.Join(folder, "station.tty"), func(serving.Notice) {})
	require.NoError(t, err)
	s.probe, err = serving.PTY(filepath.Join(folder, "probe.tty"), func(serving.Notice) {})
	require.NoError(t, err)
	s.file, err = station.LoadFile(filepath.Join("../firmware", o.Station.Station))
	require.NoError(t, err)
	text, err := os.ReadFile("../bench/box.rig.toml")
	require.NoError(t, err)
	s.rig, err = bench.Parse(filepath.Join(folder, "box.rig.toml"), text)
	require.NoError(t, err)

	b, err := Open(o)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- b.Serve(ctx, cable{s.station}, cable{s.probe}) }()
	s.end = sync.OnceValue(func() *Box {
		stop()
		assert.NoError(t, <-ended)
		return b
	})
	t.Cleanup(func() {
		s.end()
		_ = s.station.Close() // one of them has been pulled
		_ = s.probe.Close()
		require.NoError(t, b.Close())
	})
	return s
}

// happens waits until something has happened.
func (s *served) happens(t *testing.T, what What) {
	for range 60_000 {
		s.mu.Lock()
		found := slices.ContainsFunc(s.events, func(e Event) bool { return e.What == what })
		s.mu.Unlock()
		if found {
			return
		}
		time.Sleep(time.Millisecond)
	}
	t.Error("it has not happened in a minute")
}

// quickly are requirements of all three suites that take little time, with the half-bits of both tracks. With BUFFERSTOP_BENCH=whole
// it is everything (make test-bench).
var quickly = []string{"OPS-004", "OVL-001", "REC-001", "SIG-001", "SIG-003", "SRV-001", "SRV-009"}

// The firmware of the station, examined through the firmware of the probe over two serial ports in real time, gets the verdicts that
// it gets on the rig that sees into its processor.
func TestOverTwoPseudoTerminalsTheVerdictsAreThoseOfTheFirmwareRig(t *testing.T) {
	if testing.Short() {
		t.Skip("a bench in real time needs the speed that the race detector, with which -short goes, takes away")
	}
	requirements := quickly
	if os.Getenv("BUFFERSTOP_BENCH") == "whole" {
		requirements = nil
	}
	s := serve(t)
	rig, err := bench.Open(t.Context(), s.rig, s.file, bench.Options{Seed: 1})
	require.NoError(t, err)
	run := examine(t, rig, s.file, requirements)
	require.NoError(t, rig.Close())

	o := options(t, "atmega2560")
	other, err := firmware.Open(t.Context(), o.Station, o.StationImage, firmware.Options{Seed: 1})
	require.NoError(t, err)
	defer other.Close()
	want, err := suites.Run(t.Context(), other, s.file, suites.Options{Selection: suites.Selection{Requirements: requirements}})
	require.NoError(t, err)
	require.Len(t, run.Results, len(want.Results))
	var open []string // what this machine is too busy for
	for i, r := range run.Results {
		assert.Equal(t, want.Results[i].Name(), r.Name())
		if spoilt(r) && strings.Contains(r.Reason, "the host was busy") {
			open = append(open, r.Name())
			continue
		}
		// A probe that was never calibrated is surer of nothing than of the current, so some pass conditionally.
		assert.Equal(t, plain(want.Results[i].Verdict), plain(r.Verdict), "%s: %s: %s %v %v", r.Name(), r.Verdict, r.Reason, r.Failures, r.Notes)
	}
	assert.Equal(t, 4, agree(t, want, run), "half-bits of ones and zeros, of two tracks")
	assert.NotContains(t, happened(s.end()), Resets, "neither processor has started anew")
	assert.Less(t, 2*len(open), len(run.Results), "most of it can be examined on any machine")
	t.Logf("%d results, %d of them open", len(run.Results), len(open))
	if len(open) > 0 {
		t.Skipf("all else compared, but this machine was too busy to examine %v in real time", open)
	}
}

// plain is a verdict without its conditions.
func plain(v verdict.Verdict) verdict.Verdict {
	switch {
	case v.Inside():
		return verdict.Pass
	case v.Outside():
		return verdict.Fail
	}
	return v
}

// tick16 is what the probe counts by, in nanoseconds: its half-bits are no further from the truth, if the two crystals agree.
const tick16 = 62.5

// agree compares the half-bits of ordinary traffic as two rigs have measured them: the least, the mean and the most are no further
// from each other than the U that the bench states, which is that of a probe that was never calibrated; and since the crystals in a
// box are alike, no further than a tick. That the least and the most can be compared is because both come from one firmware
// with thousands of half-bits each. It returns how many measurements were compared.
func agree(t *testing.T, want, run *record.Record) (compared int) {
	t.Helper()
	for i, r := range run.Results {
		if r.ID != "SIG-001" && r.ID != "SIG-003" || len(r.Measurements) != 1 || !assert.Len(t, want.Results[i].Measurements, 1) {
			continue
		}
		m, w := r.Measurements[0], want.Results[i].Measurements[0]
		t.Logf("%s: bench %s; firmware rig %s", r.Name(), m, w)
		assert.Equal(t, w.Name, m.Name, r.Name())
		assert.Greater(t, m.Uncertainty, tick16, r.Name())
		assert.InDelta(t, w.Min, m.Min, min(m.Uncertainty, tick16+1), "%s: the least", r.Name())
		assert.InDelta(t, w.Mean, m.Mean, min(m.Uncertainty, tick16+1), "%s: the mean", r.Name())
		assert.InDelta(t, w.Max, m.Max, min(m.Uncertainty, tick16+1), "%s: the most", r.Name())
		compared++
	}
	return compared
}

// spoilt says whether a result came to nothing because of the rig.
func spoilt(r record.Result) bool {
	return r.Verdict == verdict.Inconclusive && (strings.HasPrefix(r.Reason, "the rig was at fault") || strings.HasPrefix(r.Reason, "the probe lost"))
}

// examine runs requirements, and once more those that the rig has spoilt. (suites.Run has tried three times by then.)
func examine(t *testing.T, rig harness.Rig, file *station.File, requirements []string) *record.Record {
	t.Helper()
	o := suites.Options{Selection: suites.Selection{Requirements: requirements}}
	run, err := suites.Run(t.Context(), rig, file, o)
	require.NoError(t, err)
	o.Requirements = nil
	for _, r := range run.Results {
		if spoilt(r) {
			t.Log(r.Name(), r.Reason)
			o.Requirements = append(o.Requirements, r.ID)
		}
	}
	if o.Requirements = slices.Compact(o.Requirements); o.Requirements == nil {
		return run
	}
	more, err := suites.Run(t.Context(), rig, file, o)
	require.NoError(t, err)
	for _, r := range more.Results {
		i := slices.IndexFunc(run.Results, func(old record.Result) bool { return old.Name() == r.Name() })
		if spoilt(run.Results[i]) {
			run.Results[i] = r
		}
	}
	return run
}

func TestAStationThatADeadHostHasCutOffHasItsSupplyAgainForTheNextOne(t *testing.T) {
	s := serve(t)
	address, err := s.rig.ProbeAddress()
	require.NoError(t, err)
	line, err := address.Open(t.Context())
	require.NoError(t, err)
	dies, err := protocol.Open(t.Context(), line, protocol.Options{})
	require.NoError(t, err)
	_, err = dies.Supply(t.Context(), false)
	require.NoError(t, err)
	s.happens(t, SupplyCut)
	require.NoError(t, line.Close())
	_ = dies.Close() // it has no line to say good-bye on
	rig, err := bench.Open(t.Context(), s.rig, s.file, bench.Options{Seed: 1})
	require.NoError(t, err)
	s.happens(t, SupplyBack)
	require.NoError(t, rig.Close())
}

func TestWithEitherCablePulledInAShortItIsOpenInTimeAndTheRunEndsWithAPartialRecord(t *testing.T) {
	for name, pulled := range map[string]func(*served) serving.Port{
		"the station's": func(s *served) serving.Port { return s.station },
		"the probe's":   func(s *served) serving.Port { return s.probe },
	} {
		t.Run(name, func(t *testing.T) {
			s := serve(t)
			rig, err := bench.Open(t.Context(), s.rig, s.file, bench.Options{Seed: 1})
			require.NoError(t, err)
			done := make(chan error, 1)
			go func() {
				s.happens(t, ShortCloses)
				done <- pulled(s).Close()
			}()
			run, err := suites.Run(t.Context(), rig, s.file, suites.Options{
				Selection: suites.Selection{Requirements: []string{"OVL-001", "OVL-002", "OVL-003"}}})
			require.NoError(t, err)
			require.NoError(t, <-done)
			require.NoError(t, rig.Close())
			assert.Equal(t, verdict.ExitFault, run.ExitCode)
			assert.NotEmpty(t, run.EndedEarly)
			require.NotEmpty(t, run.Results)
			assert.Equal(t, verdict.Error, run.Results[0].Verdict)

			b := s.end()
			var closed, opened time.Duration
			for _, e := range b.Log() {
				switch e.What {
				case ShortCloses:
					closed, opened = e.At, never
				case ShortOpens:
					opened = e.At
				}
			}
			_, last := b.LastByte()
			t.Logf("closed at %v, last byte at %v, open at %v", closed, last, opened)
			require.NotEqual(t, never, opened, "the pin of the switch is high still")
			assert.LessOrEqual(t, opened-max(last, closed), 100*time.Millisecond, "and was until then")
			assert.Equal(t, signal.Off, b.Driven(station.Programming))
		})
	}
}

func TestABoxThatIsServedLosesNothingWhenItsHostIsSlow(t *testing.T) {
	b, err := Open(options(t, "atmega2560"))
	require.NoError(t, err)
	defer b.Close()
	near, far := link.Pipe(link.NewWallClock(), 0)
	other, unused := link.Pipe(link.NewWallClock(), 0)
	defer other.Close()
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- b.Serve(ctx, far, unused) }()
	_, err = near.Write(t.Context(), []byte(strings.Repeat("*CLS\n", 100)+"*IDN?\n"), time.Second)
	require.NoError(t, err)
	var said []byte
	for !strings.HasSuffix(string(said), "\n") {
		var p [1]byte
		n, err := near.Read(t.Context(), p[:], 20*time.Second)
		require.NoError(t, err, "%q", said)
		said = append(said, p[:n]...)
		time.Sleep(3 * time.Millisecond)
	}
	assert.Contains(t, string(said), "reference firmware")
	stop()
	require.NoError(t, <-ended)
}

func TestServingEndsWhenALinkIsClosed(t *testing.T) {
	b, err := Open(options(t, "atmega2560"))
	require.NoError(t, err)
	defer b.Close()
	near, far := link.Pipe(link.NewWallClock(), 0)
	other, unused := link.Pipe(link.NewWallClock(), 0)
	defer other.Close()
	require.NoError(t, near.Close())
	require.NoError(t, b.Serve(t.Context(), far, unused))
}
