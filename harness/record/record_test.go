package record

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
)

// full is a record in which every field holds something.
func full(t testing.TB) *Record {
	t.Helper()
	r := New("v1", time.Date(2026, 5, 17, 9, 41, 7, 9, time.UTC))
	r.EndedEarly, r.LinkLog = "the link is lost", "captures/link.log.gz"
	r.Repeat, r.Defect, r.Notes = "bufferstop run --seed 7", "short-preamble", []string{"a note"}
	r.Build = Build{Maker: "m", Model: "two", Serial: "3", Version: "4", SourceRevision: "5", Image: "fw.hex",
		ImageSHA256: strings.Repeat("0a", 32), ImageSize: 9}
	r.Rig = Rig{Name: "rig", Kind: "bench", File: "rig.toml", Seed: -7, Tracks: map[string][]string{"main": {"edges"}},
		EdgeUncertainty: 50, SampleInterval: 100, CurrentUncertainty: 2.5, Observations: []string{"out of date"},
		Calibration: &Calibration{Date: r.Started, Probe: "p", Serial: 7, ValidDays: 365, Tool: "v1"},
		Budgets: []Budget{BudgetOf(uncertainty.Budget{Quantity: uncertainty.EdgeTime, Track: "main", Unit: "ns", Model: "m", Typical: 58e3, K: 2,
			Components: []uncertainty.Component{uncertainty.Scatter("noise", 20, "s").Observed(10).Weighted(-1),
				uncertainty.HalfWidth("clock", 1e-6, "s").Proportional()}})}}
	r.Station = Station{Name: "s", File: "s.toml", Dialect: "d.toml", Claims: map[string]any{"aspects": true},
		Declares: map[string]any{"main": map[string]any{"trip_time": "100ms"}}}
	r.Selection = Selection{Suites: []string{"conformance"}, Requirements: []string{"SIG-001"}, Shard: 1, Shards: 2}
	r.Parts = []PartOfRun{{Started: r.Started, Repeat: "bufferstop run --shard 1/1", RigTime: 1, WallTime: 2, LinkLog: "captures/link-1.log.gz",
		Requirements: []string{"SIG-001"}}}
	result := Result{ID: "SIG-001", Title: "one half-bits", Level: verdict.Must, Sentence: "s", Source: "src", Suite: "conformance",
		Track: "main", Reason: "r", Notes: []string{"n"}, Start: 1, End: 2, WallTime: 3}
	result.Measure(verdict.Distribution("one half-bit", verdict.Nanoseconds, verdict.Spread{Count: 2, Min: 54e3, Mean: 57e3, Max: 60e3,
		MinAt: 1, MaxAt: 2}, verdict.Between(55e3, 61e3, "S-9.1"), 50))
	result.Fail(Failure{What: "w", Expected: "e", Actual: "a", At: 1, Evidence: "captures/SIG-001-main.vcd.gz"})
	result.Editions = []string{"halves of a one: S-9.1 (2020)"}
	result.Waived = &Waived{Reason: "r", Owner: "o", Expires: "2026-12-31", Expected: []string{"w"}, Void: "it has expired", Open: true}
	r.Waivers = []Waiver{{Requirement: "SIG-001", Track: "main", Reason: "r", Owner: "o", Expires: "2026-12-31", Expected: []string{"w"}}}
	r.Station.Observations = []string{"it lacks direct mode"}
	r.Results = []Result{result}
	r.Histograms = []Histogram{{Name: "one half-bit", Track: "main", Unit: verdict.Nanoseconds, Limit: verdict.AtLeast(55e3, "S-9.1"),
		Count: 2, Min: 54e3, Mean: 57e3, Max: 60e3, Bins: []Bin{{54e3, 55e3, 1}, {60e3, 61e3, 1}}}}
	r.Waveforms = []Waveform{{Title: "idle", Track: "main", Edges: []Edge{{1, 1}, {2, -1}}, End: 3,
		Parts: []Part{{From: 1, To: 2, Kind: Preamble, Text: "t"}}}}
	r.Conclude(19*time.Second, time.Second, false)
	return r
}

func schema(t testing.TB) *jsonschema.Schema {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(JSONSchema))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	compiler.AssertFormat()
	require.NoError(t, compiler.AddResource("record.json", document))
	compiled, err := compiler.Compile("record.json")
	require.NoError(t, err)
	return compiled
}

func validate(t testing.TB, r *Record) error {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Write(&b, r))
	document, err := jsonschema.UnmarshalJSON(&b)
	require.NoError(t, err)
	return schema(t).Validate(document)
}

func TestRecordsKeepToTheSchema(t *testing.T) {
	assert.NoError(t, validate(t, full(t)))
	empty := New("", time.Now())
	empty.Conclude(0, 0, true)
	assert.NoError(t, validate(t, empty))
}

func TestTheSchemaRefusesWhatIsNoRecord(t *testing.T) {
	for name, spoil := range map[string]func(*Record){
		"outcome":   func(r *Record) { r.Outcome = "green" },
		"exit code": func(r *Record) { r.ExitCode = 2 },
		"hash":      func(r *Record) { r.Build.ImageSHA256 = "deadbeef" },
		"level":     func(r *Record) { r.Results[0].Level = "MAY" },
		"id":        func(r *Record) { r.Results[0].ID = "" },
		"count":     func(r *Record) { r.Results[0].Measurements[0].Count = -1 },
		"edge":      func(r *Record) { r.Waveforms[0].Edges[0].Level = 2 },
		"shard":     func(r *Record) { r.Selection.Shard = 0 },
		"shards":    func(r *Record) { r.Selection.Shards = 65 },
		"of run":    func(r *Record) { r.Parts[0].RigTime = -1 },
		"part":      func(r *Record) { r.Waveforms[0].Parts[0].Kind = "tail" },
	} {
		r := full(t)
		spoil(r)
		assert.Error(t, validate(t, r), name)
	}
}

// Every field of the structs is a property of the schema and the other way round, so that neither falls behind.
func TestTheSchemaNamesEveryField(t *testing.T) {
	var document map[string]any
	require.NoError(t, json.Unmarshal(JSONSchema, &document))
	definitions := document["$defs"].(map[string]any)
	properties := document["properties"].(map[string]any)
	for name, c := range map[string]struct {
		schema any
		value  any
	}{
		"record": {document, Record{}}, "tool": {properties["tool"], Tool{}}, "build": {properties["build"], Build{}},
		"rig": {properties["rig"], Rig{}}, "station": {properties["station"], Station{}},
		"selection": {properties["selection"], Selection{}}, "totals": {properties["totals"], Totals{}},
		"result": {definitions["result"], Result{}}, "failure": {definitions["failure"], Failure{}},
		"measurement": {definitions["measurement"], verdict.Measurement{}}, "limit": {definitions["limit"], verdict.Limit{}},
		"histogram": {definitions["histogram"], Histogram{}}, "part of run": {definitions["part_of_run"], PartOfRun{}},
		"waiver": {definitions["waiver"], Waiver{}}, "waived": {definitions["waived"], Waived{}},
		"waveform": {definitions["waveform"], Waveform{}}, "budget": {definitions["budget"], Budget{}},
		"component": {definitions["component"], Component{}}, "calibration": {definitions["calibration"], Calibration{}},
	} {
		var want, got []string
		kind := reflect.TypeOf(c.value)
		for i := range kind.NumField() {
			tag, _, _ := strings.Cut(kind.Field(i).Tag.Get("json"), ",")
			want = append(want, tag)
		}
		for property := range c.schema.(map[string]any)["properties"].(map[string]any) {
			got = append(got, property)
		}
		assert.ElementsMatch(t, want, got, name)
	}
}

func TestRecordsAreReadBackFromTheirDirectory(t *testing.T) {
	dir := t.TempDir() + "/deep/run"
	want := full(t)
	require.NoError(t, want.Save(dir))
	got, err := Load(dir)
	require.NoError(t, err)
	assert.Equal(t, want, got)

	require.NoError(t, want.Save(dir), "a second Save takes the place of the first")
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 1, "no temporary file is left")
}

func TestSavingWhereItCannotBeSaysWhat(t *testing.T) {
	file := t.TempDir() + "/file"
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	assert.ErrorContains(t, full(t).Save(file), "save record.json")
	_, err := Load(t.TempDir())
	assert.ErrorIs(t, err, os.ErrNotExist)
}

func TestAFailedSaveLeavesNothingBehind(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the name is legal elsewhere only")
	}
	dir := t.TempDir()
	require.NoError(t, os.MkdirAll(dir+"/record.json/occupied", 0o755))
	assert.ErrorContains(t, full(t).Save(dir), "save record.json")
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 1)
}

func TestReadIsStrict(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Write(&b, full(t)))
	good := b.String()
	for name, c := range map[string]struct{ text, want string }{
		"another schema": {strings.Replace(good, Schema, "bufferstop-record/2", 1), `"bufferstop-record/2"`},
		"unknown field":  {strings.Replace(good, `"repeat"`, `"again"`, 1), `"again"`},
		"two records":    {good + good, "after top-level value"},
		"cut":            {good[:len(good)/2], "unexpected end"},
		"empty":          {"", "unexpected end"},
		"verdict":        {strings.Replace(good, `"verdict": "fail"`, `"verdict": "green"`, 1), `"green"`},
		"no verdict":     {strings.Replace(good, `"verdict": "fail"`, `"verdict": "not measured"`, 1), `"not measured"`},
	} {
		_, err := Read(strings.NewReader(c.text))
		assert.ErrorContains(t, err, c.want, name)
	}
	assert.ErrorContains(t, Write(&b, &Record{}), "start a record with New")
}

func TestConcludeSettlesTheRun(t *testing.T) {
	forElsewhere := func(r Result) Result {
		r.Elsewhere = "an oscilloscope"
		return r
	}
	must := func(v verdict.Verdict) Result {
		return Result{ID: "SIG-001", Track: "main", Level: verdict.Must, Verdict: v}
	}
	should := func(v verdict.Verdict) Result { return Result{ID: "RATE-002", Level: verdict.Should, Verdict: v} }
	for name, c := range map[string]struct {
		results     []Result
		interrupted bool
		outcome     verdict.Outcome
		code        int
		says        string
	}{
		"all pass":            {[]Result{must(verdict.Pass), should(verdict.Pass)}, false, verdict.Conforms, 0, "All 2 checks that were made passed."},
		"not claimed":         {[]Result{must(verdict.Pass), must(verdict.NotClaimed)}, false, verdict.Conforms, 0, "All 1 checks"},
		"excluded":            {[]Result{must(verdict.Pass), must(verdict.Excluded)}, false, verdict.Conforms, 0, "All 1 checks"},
		"should fails":        {[]Result{must(verdict.Pass), should(verdict.Fail)}, false, verdict.ConformsWithObservations, 0, "Worth a look: RATE-002."},
		"should not fitted":   {[]Result{must(verdict.Pass), should(verdict.NotFitted)}, false, verdict.ConformsWithObservations, 0, "Worth a look: RATE-002."},
		"conditional pass":    {[]Result{must(verdict.ConditionalPass)}, false, verdict.ConformsWithObservations, 0, "Worth a look: SIG-001 main."},
		"must fails":          {[]Result{must(verdict.Fail), must(verdict.Inconclusive)}, false, verdict.DoesNotConform, 1, "does not keep SIG-001 main."},
		"conditional fail":    {[]Result{must(verdict.ConditionalFail)}, false, verdict.DoesNotConform, 1, "does not keep SIG-001 main."},
		"must for elsewhere":  {[]Result{must(verdict.Pass), forElsewhere(must(verdict.NotFitted))}, false, verdict.ConformsWithObservations, 0, "To be checked by other means: SIG-001 main (an oscilloscope)."},
		"must not fitted":     {[]Result{must(verdict.Pass), must(verdict.NotFitted)}, false, verdict.Incomplete, 4, "Not checked, though required: SIG-001 main."},
		"never measured":      {[]Result{must(verdict.Pass), must(verdict.Unmeasured)}, false, verdict.Faulted, 3, "at fault in SIG-001 main"},
		"fault over failure":  {[]Result{must(verdict.Fail), should(verdict.Error)}, false, verdict.Faulted, 3, "does not keep SIG-001 main"},
		"interrupted":         {[]Result{must(verdict.Fail)}, true, verdict.Interrupted, 130, "stopped before its end"},
		"nothing":             {nil, false, verdict.Incomplete, 4, "No check passed."},
		"nothing measured":    {[]Result{must(verdict.NotClaimed), must(verdict.Excluded)}, false, verdict.Incomplete, 4, "No check passed."},
		"level left out":      {[]Result{{ID: "X", Verdict: verdict.Fail}}, false, verdict.DoesNotConform, 1, "does not keep X."},
		"many names are many": {[]Result{must(3), must(8), must(8), must(8), must(8), must(8), must(8), must(8)}, false, verdict.DoesNotConform, 1, "and 1 more"},
	} {
		r := New("v1", time.Now())
		r.Results = c.results
		r.Conclude(2*time.Second, time.Second, c.interrupted)
		assert.Equal(t, c.outcome, r.Outcome, name)
		assert.Equal(t, c.code, r.ExitCode, name)
		assert.Contains(t, r.Statement, c.says, name)
		assert.Equal(t, len(c.results), r.Totals.Sum(), name)
		assert.NoError(t, Write(&bytes.Buffer{}, r), name)
	}
}

func TestARunThatWasEndedEarlyIsIncompleteAtBest(t *testing.T) {
	for name, c := range map[string]struct {
		verdict verdict.Verdict
		level   verdict.Level
		code    int
	}{
		"all that was checked passed": {verdict.Pass, verdict.Must, 4},
		"a SHOULD could not be told":  {verdict.Inconclusive, verdict.Should, 4},
		"a MUST failed before":        {verdict.Fail, verdict.Must, 1},
		"the link was the reason":     {verdict.Error, verdict.Must, 3},
	} {
		r := New("v1", time.Now())
		r.EndedEarly = "the link to the station is lost"
		r.Results = []Result{{ID: "A", Level: c.level, Verdict: c.verdict}, {ID: "B", Level: verdict.Must, Verdict: verdict.Excluded},
			{ID: "C", Level: verdict.Must, Verdict: verdict.Pass}}
		r.Conclude(0, 0, false)
		assert.Equal(t, c.code, r.ExitCode, name)
		assert.Contains(t, r.Statement, "The run was ended early: the link to the station is lost.", name)
	}
}

func TestDoubtTakesAFailureBackAndKeepsWhatWasMeasured(t *testing.T) {
	r := New("v1", time.Now())
	r.Results = []Result{{ID: "A", Level: verdict.Must}}
	result := &r.Results[0]
	result.Measure(verdict.Number("n", 1, 0, verdict.AtLeast(2, "")))
	result.Measure(verdict.Number("m", 3, 0, verdict.AtLeast(2, "")))
	result.Failures = []Failure{{What: "w"}}
	result.Doubt("the line is noisy")
	r.Conclude(0, 0, false)
	assert.Equal(t, verdict.Inconclusive, result.Verdict)
	assert.Equal(t, "the line is noisy", result.Reason)
	assert.Equal(t, verdict.Inconclusive, result.Measurements[0].Verdict)
	assert.EqualValues(t, 1, result.Measurements[0].Value)
	assert.Equal(t, verdict.Pass, result.Measurements[1].Verdict)
	assert.Len(t, result.Failures, 1)
	assert.Equal(t, verdict.Incomplete, r.Outcome)

	for _, v := range []verdict.Verdict{verdict.Pass, verdict.Error, verdict.NotFitted} {
		other := Result{Verdict: v, Reason: "r"}
		other.Doubt("the line is noisy")
		assert.Equal(t, Result{Verdict: v, Reason: "r"}, other, "only a failure is doubted")
	}
}

func TestConcludeTakesTheWorstMeasurement(t *testing.T) {
	r := New("v1", time.Now())
	r.Results = []Result{{ID: "A", Level: verdict.Must, Verdict: verdict.Pass,
		Measurements: []verdict.Measurement{verdict.Number("n", 1, 0, verdict.AtLeast(2, ""))}}}
	r.Conclude(0, 0, false)
	assert.Equal(t, verdict.Fail, r.Results[0].Verdict)
	assert.Equal(t, 1, r.Totals.Fail)
	worst, ok := r.Results[0].Worst()
	assert.True(t, ok)
	assert.Equal(t, "n", worst.Name)
	_, ok = Result{}.Worst()
	assert.False(t, ok)
}

func TestWhatIsNoNumberIsOurError(t *testing.T) {
	r := New("v1", time.Now())
	r.Results = []Result{{ID: "A", Measurements: []verdict.Measurement{
		verdict.Single("ratio", verdict.Percent, math.NaN(), 0, verdict.AtMost(math.Inf(1), ""), 0)}}}
	r.Conclude(0, 0, false)
	assert.Equal(t, verdict.Error, r.Results[0].Verdict)
	assert.Contains(t, strings.Join(r.Results[0].Notes, "\n"), "no number")
	assert.NoError(t, validate(t, r))
}

func TestTextFromOutsideIsCleaned(t *testing.T) {
	r := full(t)
	flood := strings.Repeat("x", 1<<20)
	r.Build.Version = "1\xff\x00"
	r.Station.Claims = map[string]any{"a\xfe": []any{"b\xfd", map[string]any{"c": flood}}}
	r.Results[0].Failures[0].Actual = flood
	r.Conclude(0, 0, false)
	assert.Equal(t, "1\\xff\x00", r.Build.Version)
	list := r.Station.Claims[`a\xfe`].([]any)
	assert.Equal(t, `b\xfd`, list[0])
	for _, text := range []string{list[1].(map[string]any)["c"].(string), r.Results[0].Failures[0].Actual} {
		assert.LessOrEqual(t, len(text), MaxText)
		assert.Contains(t, text, "(cut; 1048576 bytes in all)")
	}
	assert.NoError(t, validate(t, r))
}

func TestCleanTextIsIdempotentAndBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		text = strings.Repeat(text, rapid.SampledFrom([]int{1, 1, 1000}).Draw(t, "times"))
		clean := CleanText(text)
		assert.True(t, utf8.ValidString(clean))
		assert.LessOrEqual(t, len(clean), MaxText)
		assert.Equal(t, clean, CleanText(clean))
		if utf8.ValidString(text) && len(text) <= MaxText {
			assert.Equal(t, text, clean)
		}
	})
}

// The file was written before records had budgets.
func TestRecordsOfBeforeThereWereBudgetsAreRead(t *testing.T) {
	data, err := os.ReadFile("testdata/before-budgets.json")
	require.NoError(t, err)
	r, err := Read(bytes.NewReader(data))
	require.NoError(t, err)
	assert.Empty(t, r.Rig.Budgets)
	assert.EqualValues(t, 59, r.Results[0].Measurements[0].Uncertainty)
	statement := r.Statement
	r.Conclude(r.RigTime, r.WallTime, false)
	assert.Equal(t, statement, r.Statement)
	assert.Equal(t, verdict.Conforms, r.Outcome)
	assert.NoError(t, validate(t, r))
}

func TestAnObservationOfTheRigCountsWhereAVerdictRestsOnIt(t *testing.T) {
	uncertain := verdict.Single("half-bit", verdict.Nanoseconds, 58e3, 0, verdict.Between(55e3, 61e3, ""), 50)
	outside := verdict.Single("half-bit", verdict.Nanoseconds, 70e3, 0, verdict.Between(55e3, 61e3, ""), 50)
	count := verdict.Number("packets", 3, 0, verdict.AtLeast(2, ""))
	for name, c := range map[string]struct {
		measurement  verdict.Measurement
		observations []string
		outcome      verdict.Outcome
		says         bool
	}{
		"a time":                     {uncertain, []string{"not calibrated"}, verdict.ConformsWithObservations, true},
		"a rig with nothing to miss": {uncertain, nil, verdict.Conforms, false},
		"a count":                    {count, []string{"not calibrated"}, verdict.Conforms, false},
		"a failure stays one":        {outside, []string{"not calibrated"}, verdict.DoesNotConform, true},
	} {
		r := New("v1", time.Now())
		result := Result{ID: "A", Level: verdict.Must}
		result.Measure(c.measurement)
		r.Results, r.Rig.Observations = []Result{result}, c.observations
		r.Conclude(0, 0, false)
		assert.Equal(t, c.outcome, r.Outcome, name)
		assert.Equal(t, c.says, strings.Contains(r.Statement, "Of the rig: not calibrated."), name)
	}
}

func TestABudgetIsAddedUpInTheRecord(t *testing.T) {
	b := BudgetOf(uncertainty.Budget{Quantity: "q", Unit: "ns", Typical: 1e6, K: 2, Components: []uncertainty.Component{
		uncertainty.Deviation("a", 3, "s"), uncertainty.Deviation("clock", 4e-6, "s").Proportional()}})
	assert.InDelta(t, 5, b.Combined, 1e-9)
	assert.InDelta(t, 10, b.Expanded, 1e-9)
	assert.InDelta(t, 4, b.Components[1].Standard, 1e-9)
	assert.Zero(t, b.Freedom, "without end")
	assert.NoError(t, validate(t, func() *Record { r := full(t); r.Rig.Budgets = []Budget{b}; return r }()))
}
