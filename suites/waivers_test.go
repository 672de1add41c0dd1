package suites_test

import (
	"bytes"
	"context"
	"testing"

	"bufferstop/harness/record"
	"bufferstop/harness/report"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"
	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// waivedPreamble waives a preamble that is too short.
var waivedPreamble = record.Waiver{Requirement: "PKT-001", Track: "main", Reason: "known", Owner: "maintainer", Expires: "9999-12-31",
	Expected: []string{"preamble: expected at least 14"}}

func waivedRun(t *testing.T, defect string, w record.Waiver, ids ...string) (run *record.Record, told []record.Result) {
	t.Helper()
	run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Seed: 1, Defect: defect}), reference(t), suites.Options{
		Selection: suites.Selection{Requirements: ids}, Waivers: []record.Waiver{w}, OnResult: func(r record.Result) { told = append(told, r) }})
	require.NoError(t, err)
	return run, told
}

func TestAWaiverLetsAKnownFailurePassAndRotsWithoutIt(t *testing.T) {
	const defect = "short-preamble"
	run, told := waivedRun(t, defect, waivedPreamble, "PKT-001", "SIG-001")
	var failing []record.Result
	for _, r := range run.Results {
		if r.Verdict.Outside() {
			failing = append(failing, r)
		}
	}
	require.Len(t, failing, 1, "the check has run")
	require.Equal(t, "PKT-001 main", failing[0].Name())
	assert.True(t, failing[0].IsWaived(), "%+v: %v", failing[0].Waived, failing[0].Failures)
	assert.Equal(t, verdict.ConformsWithObservations, run.Outcome, run.Statement)
	assert.Equal(t, 0, run.ExitCode)
	assert.Equal(t, []record.Waiver{waivedPreamble}, run.Waivers)
	waivedAtOnce := 0
	for _, r := range told {
		if r.IsWaived() {
			waivedAtOnce++
		}
	}
	assert.Equal(t, 1, waivedAtOnce, "whoever watches the run sees it")
	var xml bytes.Buffer
	require.NoError(t, report.JUnit(&xml, run))
	assert.Contains(t, xml.String(), `failures="0"`)
	assert.Contains(t, xml.String(), "waived until 9999-12-31 by maintainer: known")

	run, _ = waivedRun(t, "", waivedPreamble, "PKT-001")
	assert.Equal(t, verdict.DoesNotConform, run.Outcome)
	assert.Contains(t, run.Statement, "PKT-001 main (the check passes, so the waiver has nothing to waive)")
	xml.Reset()
	require.NoError(t, report.JUnit(&xml, run))
	assert.Contains(t, xml.String(), `failures="1"`)
	assert.Contains(t, xml.String(), `type="waiver"`)

	other := waivedPreamble
	other.Expected = []string{"something else"}
	run, _ = waivedRun(t, defect, other, "PKT-001")
	assert.Equal(t, verdict.DoesNotConform, run.Outcome)
	assert.Contains(t, run.Statement, "fails with another text")

	run, _ = waivedRun(t, "", waivedPreamble, "SIG-001")
	assert.Equal(t, verdict.Conforms, run.Outcome, "it is for what was not chosen to run")
}

// Waivers are those of the whole run, whatever part is run first.
func TestMergingPartsHoldsTheirWaiversOverTheWhole(t *testing.T) {
	const defect = "short-preamble"
	part := func(i int, w ...record.Waiver) *record.Record {
		run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Seed: 1, Defect: defect}), reference(t), suites.Options{
			Selection: suites.Selection{Requirements: []string{"PKT-001", "OPS-005", "OPS-006"}, Shard: i, Shards: 2}, Waivers: w, Version: toolVersion})
		require.NoError(t, err)
		directory := t.TempDir()
		require.NoError(t, run.Save(directory))
		return read(t, directory)[0].Record
	}
	merge := func(a, b *record.Record) (*suites.Merged, error) {
		return suites.Merge([]suites.Part{{Directory: "a", Record: a}, {Directory: "b", Record: b}}, toolVersion)
	}
	merged, err := merge(part(1, waivedPreamble), part(2, waivedPreamble))
	require.NoError(t, err)
	assert.Equal(t, verdict.ConformsWithObservations, merged.Record.Outcome, merged.Record.Statement)
	assert.Equal(t, 1, merged.Record.Totals.Waived)

	_, err = merge(part(1, waivedPreamble), part(2))
	assert.ErrorContains(t, err, "the parts are not of one run: waivers")

	wrong := part(1, waivedPreamble)
	wrong.Waivers[0].Requirement = "PKT-999"
	other := part(2, waivedPreamble)
	other.Waivers[0].Requirement = "PKT-999"
	_, err = merge(wrong, other)
	assert.ErrorContains(t, err, "damaged record: the waivers")
}

// What is judged throughout a run may fail in one part and have no cause to in another: the whole tells whether a waiver has anything to
// waive.
func TestAWaiverOfWhatIsJudgedThroughoutARunIsHeldOverTheWhole(t *testing.T) {
	waivers := []record.Waiver{{Requirement: "PKT-010", Track: "main", Reason: "known", Owner: "maintainer", Expires: "9999-12-31",
		Expected: []string{"two packets to one decoder", "packets to 112-127 too close together", "between packets to the same address"}}}
	parts := func(defect string) (verdicts []verdict.Verdict, merged *record.Record) {
		var all []suites.Part
		for i := 1; i <= 2; i++ {
			run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Seed: 1, Defect: defect}), reference(t), suites.Options{
				Selection: suites.Selection{Requirements: []string{"PKT-010", "SRV-001", "OPS-001"}, Shard: i, Shards: 2}, Waivers: waivers, Version: toolVersion})
			require.NoError(t, err)
			assert.Equal(t, 0, run.ExitCode, "part %d: %s", i, run.Statement)
			verdicts = append(verdicts, resultOf(t, run, "PKT-010 main").Verdict)
			directory := t.TempDir()
			require.NoError(t, run.Save(directory))
			all = append(all, read(t, directory)...)
		}
		whole, err := suites.Merge(all, toolVersion)
		require.NoError(t, err)
		return verdicts, whole.Record
	}
	verdicts, merged := parts("twice-to-a-service-address")
	assert.ElementsMatch(t, []verdict.Verdict{verdict.Pass, verdict.Fail}, verdicts)
	assert.Equal(t, verdict.ConformsWithObservations, merged.Outcome, merged.Statement)
	assert.Equal(t, 1, merged.Totals.Waived)

	_, merged = parts("")
	assert.Equal(t, verdict.DoesNotConform, merged.Outcome)
	assert.Contains(t, merged.Statement, "PKT-010 main (the check passes, so the waiver has nothing to waive)")
}

func TestAResultNamesTheEditionAndAnOlderOneMayHaveNoLimit(t *testing.T) {
	file := reference(t)
	o := suites.Options{Selection: suites.Selection{Requirements: []string{"SIG-002"}}}
	run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Seed: 1}), file, o)
	require.NoError(t, err)
	assert.Equal(t, []string{"halves of a one: S-9.1 (2020)"}, run.Results[0].Editions)
	assert.Equal(t, verdict.Pass, run.Results[0].Verdict)
	var page, text bytes.Buffer
	require.NoError(t, report.HTML(&page, run))
	require.NoError(t, report.Markdown(&text, run))
	assert.Contains(t, page.String(), "halves of a one: S-9.1 (2020)")
	assert.Contains(t, text.String(), "halves of a one: S-9.1 (2020)")

	file.Claims.Editions = map[string]string{"halves of a one": "S-9.1 (1894)"}
	_, err = suites.Run(context.Background(), rigWith(t, simulated.Options{Seed: 1}), file, o)
	assert.ErrorContains(t, err, `got "S-9.1 (1894)", want one of`)
	file.Claims.Editions = map[string]string{"halves of a one": "S-9.1 (2006)"}
	run, err = suites.Run(context.Background(), rigWith(t, simulated.Options{Seed: 1}), file, o)
	require.NoError(t, err)
	assert.Equal(t, []string{"halves of a one: S-9.1 (2006)"}, run.Results[0].Editions)
	assert.Equal(t, verdict.NotClaimed, run.Results[0].Verdict)
	assert.Contains(t, run.Results[0].Reason, "no limit by the edition that the station claims (halves of a one: S-9.1 (2006))")
}

func TestWhatAStationLacksIsAnObservationOfTheRun(t *testing.T) {
	file := reference(t)
	file.Claims.Lacks = []string{"bit write"}
	run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Seed: 1}), file,
		suites.Options{Selection: suites.Selection{Requirements: []string{"SIG-001"}}})
	require.NoError(t, err)
	assert.Equal(t, verdict.ConformsWithObservations, run.Outcome)
	assert.Contains(t, run.Statement, "Of the station: it lacks bit write, which S-9.2.3 E, direct mode (July 2012) makes mandatory.")
	var page, text bytes.Buffer
	require.NoError(t, report.HTML(&page, run))
	require.NoError(t, report.Markdown(&text, run))
	assert.Contains(t, page.String(), "it lacks bit write")
	assert.Contains(t, text.String(), "it lacks bit write")
}

// Whatever a station only SHOULD keep is shown when it does not, and fails no run: nor the build that reads JUnit.
func TestWhatAStationShouldKeepIsAnObservation(t *testing.T) {
	all := []catalogue.Requirement{{ID: "TST-001", Title: "a test", Level: verdict.Should, Tracks: []string{"main"}, Suite: "conformance"}}
	for _, r := range catalogue.All() {
		if r.Level == verdict.Should {
			all = append(all, r)
		}
	}
	for _, r := range all {
		for _, v := range []verdict.Verdict{verdict.Fail, verdict.ConditionalFail} {
			run := &record.Record{Schema: record.Schema, Results: []record.Result{
				{ID: "SIG-001", Level: verdict.Must, Suite: "conformance", Track: "main", Verdict: verdict.Pass},
				{ID: r.ID, Title: r.Title, Level: r.Level, Suite: r.Suite, Track: r.Tracks[0], Verdict: v, Failures: []record.Failure{{What: "what was seen"}}},
			}}
			run.Conclude(1, 1, false)
			assert.Equal(t, verdict.ConformsWithObservations, run.Outcome, r.ID)
			assert.Contains(t, run.Statement, "Worth a look: "+run.Results[1].Name(), r.ID)
			var xml bytes.Buffer
			require.NoError(t, report.JUnit(&xml, run))
			assert.Contains(t, xml.String(), `failures="0"`, r.ID)
			assert.Contains(t, xml.String(), "what was seen", r.ID)
			assert.Contains(t, report.Console{}.Summary(run), "what was seen", r.ID)
		}
	}
}
