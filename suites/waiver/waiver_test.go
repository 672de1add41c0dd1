package waiver

import (
	"strings"
	"testing"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const whole = `
[[waiver]]
requirement = "SIG-001"
track = "main"
reason = "the crystal of board 3"
owner = "firmware maintainer"
expires = 2026-12-31
expected = "one half-bit"

[[waiver]]
requirement = "OPS-005"
reason = "F3 is wired to the bell"
owner = "firmware maintainer"
expires = "2027-01-31"
expected = ["F3 on", "wrong or missing packets"]
`

func TestAFileOfWaiversIsRead(t *testing.T) {
	all, err := Parse("w.toml", []byte(whole))
	require.NoError(t, err)
	assert.Equal(t, []record.Waiver{
		{Requirement: "SIG-001", Track: "main", Reason: "the crystal of board 3", Owner: "firmware maintainer", Expires: "2026-12-31",
			Expected: []string{"one half-bit"}},
		{Requirement: "OPS-005", Reason: "F3 is wired to the bell", Owner: "firmware maintainer", Expires: "2027-01-31",
			Expected: []string{"F3 on", "wrong or missing packets"}},
	}, all)
	assert.NoError(t, Check(all))
}

func TestMistakesInWaiversAreToldAtTheirLine(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"unknown requirement": {`"SIG-001"`, `"SIG-0001"`, `w.toml:3:15: waiver[0].requirement: got "SIG-0001", want the id of a requirement (hint: did you mean SIG-001?)`},
		"unknown track":       {`"main"`, `"yard"`, `w.toml:4:9: waiver[0].track: got "yard", want a track on which SIG-001 is checked: main, programming`},
		"no such date":        {`"2027-01-31"`, `"31.1.2027"`, `w.toml:14:11: waiver[1].expires: got "31.1.2027", want the last day`},
		"a time":              {`2026-12-31`, `2026-12-31T10:00:00`, `w.toml:7:11: waiver[0].expires`},
		"a number":            {`2026-12-31`, `7`, `w.toml:7:11: waiver[0].expires: got "7"`},
		"no date":             {`expires = 2026-12-31`, ``, `w.toml:2:3: waiver[0].expires: got nothing`},
		"no reason":           {`reason = "the crystal of board 3"`, ``, `w.toml:2:3: waiver[0].reason: got nothing`},
		"blank owner":         {`owner = "firmware maintainer"`, `owner = " "`, `waiver[0].owner: got nothing`},
		"nothing expected":    {`expected = "one half-bit"`, ``, `w.toml:2:3: waiver[0].expected: got nothing`},
		"empty text":          {`"one half-bit"`, `""`, `w.toml:8:12: waiver[0].expected: got an empty text`},
		"numbers expected":    {`["F3 on", "wrong or missing packets"]`, `["F3 on", 3]`, `w.toml:15:22: waiver[1].expected[1]: got "3"`},
		"no text expected":    {`"one half-bit"`, `3`, `w.toml:8:12: waiver[0].expected: got "3"`},
		"twice":               {`"OPS-005"`, `"SIG-001"`, `w.toml:11:15: waiver[1].requirement: got "SIG-001" again`},
		"another key":         {`owner = "firmware`, `ower = "firmware`, `did you mean owner?`},
		"no waiver":           {whole, ``, `w.toml: waiver: got no waiver`},
		"no TOML":             {`[[waiver]]`, `[[waiver]`, `w.toml:2`},
	} {
		require.Contains(t, whole, c.old, name)
		_, err := Parse("w.toml", []byte(strings.Replace(whole, c.old, c.new, 1)))
		assert.ErrorContains(t, err, c.want, name)
	}
}

func TestAWaiverHoldsOnlyForTheFailureItIsMeantFor(t *testing.T) {
	half := record.Failure{What: "one half-bit", Expected: "55 µs to 61 µs", Actual: "62 µs"}
	other := record.Failure{What: "preamble", Expected: "at least 14", Actual: "12"}
	today := time.Date(2026, 12, 31, 23, 59, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		verdict  verdict.Verdict
		failures []record.Failure
		expected []string
		today    time.Time
		void     string // "-" for one that is open
	}{
		"as expected":            {verdict.Fail, []record.Failure{half}, []string{"one half-bit: expected 55 µs to 61 µs, got 62"}, today, ""},
		"conditionally":          {verdict.ConditionalFail, []record.Failure{half}, []string{"half-bit"}, today, ""},
		"several":                {verdict.Fail, []record.Failure{half, half, other}, []string{"half-bit", "preamble"}, today, ""},
		"passes":                 {verdict.Pass, nil, []string{"half-bit"}, today, "the check passes"},
		"passes conditionally":   {verdict.ConditionalPass, nil, []string{"half-bit"}, today, "the check passes"},
		"another text":           {verdict.Fail, []record.Failure{other}, []string{"half-bit"}, today, `another text: expected "half-bit", got "preamble: expected at least 14, got 12"`},
		"another text as well":   {verdict.Fail, []record.Failure{half, other}, []string{"half-bit"}, today, `another text`},
		"one of two":             {verdict.Fail, []record.Failure{half}, []string{"half-bit", "preamble"}, today, `without the expected text "preamble"`},
		"fails without a word":   {verdict.Fail, nil, []string{"half-bit"}, today, "without the expected text"},
		"expired":                {verdict.Fail, []record.Failure{half}, []string{"half-bit"}, today.Add(2 * time.Minute), "expired on 2026-12-31"},
		"passes and has expired": {verdict.Pass, nil, []string{"half-bit"}, today.Add(48 * time.Hour), "expired on 2026-12-31"},
		"not fitted":             {verdict.NotFitted, nil, []string{"half-bit"}, today, "skipped, not fitted"},
		"not claimed":            {verdict.NotClaimed, nil, []string{"half-bit"}, today, "skipped, not claimed"},
		"excluded":               {verdict.Excluded, nil, []string{"half-bit"}, today, "-"},
		"inconclusive":           {verdict.Inconclusive, nil, []string{"half-bit"}, today, "-"},
		"an error":               {verdict.Error, nil, []string{"half-bit"}, today, "-"},
	} {
		run := record.New("v", c.today)
		run.Waivers = []record.Waiver{{Requirement: "SIG-001", Track: "main", Reason: "r", Owner: "o", Expires: "2026-12-31", Expected: c.expected}}
		run.Results = []record.Result{
			{ID: "SIG-001", Track: "main", Level: verdict.Must, Verdict: c.verdict, Failures: c.failures},
			{ID: "SIG-001", Track: "programming", Level: verdict.Must, Verdict: verdict.Pass},
		}
		Apply(run)
		run.Conclude(1, 1, false)
		got := run.Results[0].Waived
		require.NotNil(t, got, name)
		assert.Nil(t, run.Results[1].Waived, name)
		switch c.void {
		case "":
			assert.Empty(t, got.Void, name)
			assert.True(t, run.Results[0].IsWaived(), name)
			assert.Equal(t, verdict.ConformsWithObservations, run.Outcome, name)
			assert.Contains(t, run.Statement, "Waived: SIG-001 main.", name)
			assert.Equal(t, 1, run.Totals.Waived, name)
		case "-":
			assert.True(t, got.Open, name)
			assert.NotEqual(t, verdict.DoesNotConform, run.Outcome, name)
		default:
			assert.Contains(t, got.Void, c.void, name)
			assert.Equal(t, verdict.DoesNotConform, run.Outcome, name)
			assert.Equal(t, 1, run.ExitCode, name)
			assert.Contains(t, run.Statement, "SIG-001 main (", name)
		}
	}
}

// Without a track a waiver is for all of them, and each has to fail.
func TestAWaiverWithoutATrackIsForAllOfThem(t *testing.T) {
	run := record.New("v", time.Now())
	run.Waivers = []record.Waiver{{Requirement: "SIG-001", Reason: "r", Owner: "o", Expires: "9999-12-31", Expected: []string{"x"}}}
	run.Results = []record.Result{
		{ID: "SIG-001", Track: "main", Level: verdict.Must, Verdict: verdict.Fail, Failures: []record.Failure{{What: "x"}}},
		{ID: "SIG-001", Track: "programming", Level: verdict.Must, Verdict: verdict.Pass},
		{ID: "SIG-002", Track: "main", Level: verdict.Must, Verdict: verdict.Pass},
	}
	Apply(run)
	assert.True(t, run.Results[0].IsWaived())
	assert.Contains(t, run.Results[1].VoidWaiver(), "the check passes")
	assert.Nil(t, run.Results[2].Waived)
}

func TestWaiversOfARecordAreChecked(t *testing.T) {
	good := record.Waiver{Requirement: "SIG-001", Track: "main", Reason: "r", Owner: "o", Expires: "2026-12-31", Expected: []string{"x"}}
	require.NoError(t, Check([]record.Waiver{good}))
	for name, spoil := range map[string]func(*record.Waiver){
		"requirement": func(w *record.Waiver) { w.Requirement = "SIG-999" },
		"track":       func(w *record.Waiver) { w.Track = "yard" },
		"date":        func(w *record.Waiver) { w.Expires = "soon" },
		"owner":       func(w *record.Waiver) { w.Owner = "" },
		"expected":    func(w *record.Waiver) { w.Expected = nil },
		"a text":      func(w *record.Waiver) { w.Expected = []string{""} },
	} {
		w := good
		spoil(&w)
		assert.Error(t, Check([]record.Waiver{good, w}), name)
	}
}

func FuzzParse(f *testing.F) {
	f.Add(whole)
	f.Add("[[waiver]]\nexpires = 1\nexpected = [[]]")
	f.Add("waiver = [{ requirement = \"SIG-001\" }]")
	f.Fuzz(func(t *testing.T, text string) {
		all, err := Parse("fuzz", []byte(text))
		if err == nil {
			require.NotEmpty(t, all)
			require.NoError(t, Check(all))
		}
	})
}
