package suites_test

import (
	"compress/gzip"
	"os"
	"path/filepath"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/record"
	"bufferstop/harness/report"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// logOf reads the log that a run has left in its directory.
func logOf(t *testing.T, dir string, run *record.Record) *link.Log {
	t.Helper()
	require.Equal(t, "captures/link.log.gz", run.LinkLog)
	file, err := os.Open(filepath.Join(dir, filepath.FromSlash(run.LinkLog)))
	require.NoError(t, err)
	defer file.Close()
	unpacked, err := gzip.NewReader(file)
	require.NoError(t, err)
	log, err := link.ReadLog(unpacked)
	require.NoError(t, err)
	return log
}

func TestTheLogOfARunPlaysBackAsItsStation(t *testing.T) {
	dir := t.TempDir()
	file := reference(t)
	var asked []station.Exchange
	// None of these gives commands back to back: such are no exchanges, and are not told.
	run, err := suites.Run(t.Context(), rigWith(t, simulated.Options{Seed: 3}), file, suites.Options{
		Selection:  suites.Selection{Requirements: []string{"OPS-009", "SRV-001", "SRV-007", "SRV-008", "SRV-009", "OVL-001", "CUR-001"}},
		Evidence:   dir,
		OnExchange: func(e station.Exchange) { asked = append(asked, e) },
	})
	require.NoError(t, err)
	require.Equal(t, verdict.Conforms, run.Outcome)
	require.Greater(t, len(asked), 50)

	log := logOf(t, dir, run)
	assert.Zero(t, log.Lost)
	clock := new(link.VirtualClock)
	played := link.Play(log, clock)
	driver := file.Driver(played, clock)
	refused := 0
	for i, e := range asked {
		if i > 0 { // the first one also brings into step
			require.NoError(t, clock.Wait(t.Context(), e.Begun-clock.Now()))
		}
		err := driver.Do(t.Context(), e.Command)
		again := driver.LastExchange()
		if e.Err != nil {
			refused++
			require.EqualError(t, err, e.Err.Error())
		} else {
			require.NoError(t, err, "%s", e.Command)
		}
		require.Equal(t, e.Sent, again.Sent)
		require.Equal(t, e.Answer, again.Answer)
		require.InDelta(t, float64(e.RoundTrip()), float64(again.RoundTrip()), float64(time.Millisecond), "%s", e.Command)
	}
	assert.Positive(t, refused, "no acknowledge is among the answers")
	assert.True(t, played.Done())
}

func TestTheLogIsKeptAlsoOfAStationThatCannotBeGreeted(t *testing.T) {
	dir := t.TempDir()
	rig := wired(t, simulated.Options{}, func(l link.Link, _ link.Clock) link.Link {
		return &replying{Link: l, to: "*IDN?", instead: "nobody"}
	})
	defer func() { require.NoError(t, rig.Close()) }()
	_, err := suites.Run(t.Context(), rig, reference(t), suites.Options{Selection: few, Evidence: dir})
	require.ErrorContains(t, err, "asking the station who it is")
	require.ErrorContains(t, err, "; the fault is the station's")
	assert.FileExists(t, filepath.Join(dir, "captures", "link.log.gz"))
}

func TestGreetingTellsTheLinkFromTheStation(t *testing.T) {
	for name, c := range map[string]struct {
		between func(l link.Link, c link.Clock) link.Link
		says    string
		outcome verdict.Outcome
	}{
		"closed": {func(l link.Link, _ link.Clock) link.Link { _ = l.Close(); return l }, "the fault is the link's, not the station's: the link to the station was closed", verdict.Faulted},
		"silent": {func(l link.Link, c link.Clock) link.Link { return &severed{l, c, 0} }, "is not clear: neither an answer nor a sign of life", verdict.Incomplete},
		"reset":  {func(l link.Link, _ link.Clock) link.Link { return &replying{Link: l, to: "*RST", instead: "no"} }, "resetting the station", verdict.Incomplete},
	} {
		t.Run(name, func(t *testing.T) {
			rig := wired(t, simulated.Options{}, c.between)
			defer func() { require.NoError(t, rig.Close()) }()
			out := t.TempDir()
			run, err := suites.Run(t.Context(), rig, reference(t), suites.Options{Selection: few, Evidence: out})
			require.ErrorContains(t, err, c.says)
			assert.Equal(t, c.outcome, run.Outcome)
			assert.Equal(t, verdict.ExitFault, run.ExitCode)
			assert.Empty(t, run.Results)
			assert.Contains(t, run.Statement, c.says)
			assert.FileExists(t, filepath.Join(out, run.LinkLog))
			require.NoError(t, report.Save(out, run))
			again, err := record.Load(out)
			require.NoError(t, err)
			assert.Equal(t, run.Outcome, again.Outcome)
		})
	}
}
