package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

var (
	update = flag.Bool("update", false, "write the golden files anew")
	keep   = flag.String("keep", "", "directory in which to leave the reports of the sample run, to look at them")
)

// golden compares text with a file of testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, strings.ReplaceAll(string(want), "\r\n", "\n"), got, "%s; write it anew with -update if the change is meant", name)
}

func render(t testing.TB, write func(io.Writer, *record.Record) error, r *record.Record) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, write(&b, r))
	return b.String()
}

func consoleOf(c Console, r *record.Record) string {
	var b strings.Builder
	for _, result := range r.Results {
		b.WriteString(c.Line(result) + "\n")
	}
	return b.String() + c.Summary(r)
}

func TestReportsReadAsBefore(t *testing.T) {
	r := sample(t)
	golden(t, "junit.xml", render(t, JUnit, r))
	golden(t, "summary.md", render(t, Markdown, r))
	golden(t, "console.txt", consoleOf(Console{}, r))
	golden(t, "colour.txt", consoleOf(Console{Colour: true}, r))
}

func TestSaveWritesTheRecordAndItsReports(t *testing.T) {
	dir := *keep
	if dir == "" {
		dir = t.TempDir()
	}
	r := sample(t)
	require.NoError(t, Save(dir, r))
	loaded, err := record.Load(dir)
	require.NoError(t, err)
	for name, write := range map[string]func(io.Writer, *record.Record) error{HTMLName: HTML, JUnitName: JUnit, MarkdownName: Markdown} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		assert.Equal(t, string(data), render(t, write, loaded), "%s can be made again from record.json alone", name)
	}
	assert.Error(t, Save(filepath.Join(dir, record.FileName), r), "a file is no directory")
}

// A failing writer is told of.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestReportsTellOfAFullDisk(t *testing.T) {
	for _, write := range []func(io.Writer, *record.Record) error{HTML, JUnit, Markdown} {
		assert.ErrorContains(t, write(full{}, sample(t)), "disk full")
	}
}

// elements walks the page with a lenient XML reader; the page is written so that this works.
func elements(t *testing.T, page string, visit func(e xml.StartElement)) string {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var text strings.Builder
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return text.String()
		}
		require.NoError(t, err)
		switch token := token.(type) {
		case xml.StartElement:
			visit(token)
		case xml.CharData:
			text.Write(token)
		}
	}
}

// checkPage holds the page to what a self-contained page without script may have.
func checkPage(t *testing.T, page string) (text string, links []string) {
	t.Helper()
	ids, targets := map[string]bool{}, []string{}
	text = elements(t, page, func(e xml.StartElement) {
		name := strings.ToLower(e.Name.Local)
		assert.NotContains(t, []string{"script", "iframe", "img", "object", "embed", "form", "base", "image", "foreignobject"}, name)
		for _, a := range e.Attr {
			attribute := strings.ToLower(a.Name.Local)
			assert.False(t, strings.HasPrefix(attribute, "on"), "<%s %s> would run script", name, attribute)
			assert.NotEqual(t, "src", attribute)
			switch attribute {
			case "id":
				assert.False(t, ids[a.Value], "id %q is there once only", a.Value)
				ids[a.Value] = true
			case "href":
				if target, local := strings.CutPrefix(a.Value, "#"); local {
					targets = append(targets, target)
				} else {
					links = append(links, a.Value)
				}
			}
		}
	})
	for _, target := range targets {
		assert.True(t, ids[target], "#%s leads somewhere", target)
	}
	assert.NotRegexp(t, regexp.MustCompile(`url\(|@import`), page)
	assert.True(t, utf8.ValidString(page))
	return text, links
}

func TestThePageSaysWhatTheRecordHolds(t *testing.T) {
	r := sample(t)
	page := render(t, HTML, r)
	text, links := checkPage(t, page)
	assert.Equal(t, []string{"data:,", "captures/SIG-003-main.vcd.gz", "captures/OVL-001-main.vcd.gz"}, links)
	for _, want := range []string{"The rig or the harness was at fault", "1.4.0-rc2", r.Build.ImageSHA256, r.Repeat, "simulated bench",
		"93.25 µs", "95 µs to 9.9 ms", "−1.75 µs", "± 50 ns", "off after 104.2 ms", "the station claims no cutout", scope,
		"licensed electrician", "trip time", "100ms", "preamble, 14 ones", "error byte, 0x76"} {
		assert.Contains(t, text, want)
	}
	for _, result := range r.Results {
		assert.Contains(t, text, result.ID)
		assert.Contains(t, page, result.Name()+": "+result.Verdict.String(), "each verdict is there in words")
		if result.Verdict != verdict.Excluded {
			assert.Contains(t, text, result.Sentence)
			assert.Contains(t, text, result.Source)
		}
	}
	assert.Less(t, strings.Index(text, "The rig or the harness"), strings.Index(text, "1.4.0-rc2"), "outcome first")
	assert.Equal(t, 4+4, strings.Count(page, `<svg class="figure"`), "four histograms and four strips of a waveform")
	assert.NotContains(t, page, "#0102", "every ink is a colour of the page")
	assert.NotContains(t, page, "font-family:Lib", "figures use the letters of the page")
}

func TestEveryOutcomeHasItsPage(t *testing.T) {
	for v, want := range map[verdict.Verdict]string{verdict.Pass: "The station conforms", verdict.Fail: "The station does not conform",
		verdict.ConditionalPass: "The station conforms, with observations", verdict.Inconclusive: "The run is incomplete"} {
		r := record.New("v1", time.Now())
		r.Results = []record.Result{{ID: "SIG-001", Suite: "conformance", Level: verdict.Must, Verdict: v}}
		r.Conclude(0, 0, false)
		assert.Contains(t, render(t, HTML, r), "<h1>"+want+"</h1>")
		r.Rig.Capture = &record.Capture{}
		assert.Contains(t, render(t, HTML, r), "<h1>"+strings.Replace(want, "station", "signal", 1)+"</h1>")
	}
	checkPage(t, render(t, HTML, new(record.Record)))
	assert.Contains(t, render(t, HTML, new(record.Record)), "The run was not concluded")
}

func TestJUnitBlamesWhoIsToBlame(t *testing.T) {
	r := sample(t)
	var suites junitSuites
	require.NoError(t, xml.Unmarshal([]byte(render(t, JUnit, r)), &suites))
	cases := map[string]junitCase{}
	for _, suite := range suites.Suites {
		for _, c := range suite.Cases {
			assert.Equal(t, "bufferstop."+suite.Name, c.ClassName)
			cases[c.Name] = c
		}
	}
	require.Len(t, cases, len(r.Results), "names are unique")
	for _, result := range r.Results {
		c, v := cases[result.Name()], result.Verdict
		assert.Equal(t, v.Outside() && result.Level == verdict.Must, c.Failure != nil, "%s: a failure is the station's", c.Name)
		assert.Equal(t, v == verdict.Error || v == verdict.Inconclusive, c.Error != nil, "%s: an error is ours", c.Name)
		assert.Equal(t, v.Skipped(), c.Skipped != nil, "%s: skipped", c.Name)
		if c.Skipped != nil {
			assert.True(t, strings.HasPrefix(c.Skipped.Message, v.String()+": "), "%s: the reason has its type", c.Name)
		}
	}
	assert.Contains(t, cases["RATE-002 main"].Output, "at most 1 s", "a SHOULD is told, and does not fail the build")
	assert.Equal(t, len(r.Results), suites.Tests)
	assert.Equal(t, 2, suites.Failures)
	assert.Equal(t, 2, suites.Errors)
	assert.Equal(t, 3, suites.Skipped)
}

// hostile is what a station, or a file, might put into a text: HTML, terminal escapes, what XML forbids, bytes that are no
// UTF-8, the end of CDATA, Markdown, turned writing, and a flood.
const hostile = "</td><script>alert(1)</script>\" onload=x ' \x1b[31m\x1b]0;t\x07 \x00 \xff\xfe ]]> | a | `b` ``` **c** [d](javascript:e) " +
	"\u202e\u2028\ufffe \r\n\n# head\n<!-- ${x} {{.}} &lt; @user https://example.invalid"

// poison puts text in place of every text below v, and as a key into every map.
func poison(v reflect.Value, text string) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(text)
	case reflect.Slice:
		for i := range v.Len() {
			poison(v.Index(i), text)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return
		}
		for i := range v.NumField() {
			poison(v.Field(i), text)
		}
	case reflect.Map:
		value := reflect.New(v.Type().Elem()).Elem()
		if value.Kind() == reflect.Slice {
			value = reflect.ValueOf([]string{text})
		} else {
			value = reflect.ValueOf(map[string]any{text: []any{text}})
		}
		v.SetMapIndex(reflect.ValueOf(text), value)
	}
}

func poisoned(t testing.TB, text string) *record.Record {
	r := sample(t)
	poison(reflect.ValueOf(r).Elem(), text)
	r.Schema = record.Schema
	return r
}

func unprintable(text string) string {
	return strings.Map(func(c rune) rune {
		if c == '\n' || c == utf8.RuneError || c == ' ' || c == '\u202f' || unicode.IsPrint(c) {
			return -1
		}
		return c
	}, text)
}

func TestHostileTextDoesNoHarmInAnyReport(t *testing.T) {
	r := poisoned(t, hostile)

	page := render(t, HTML, r)
	text, links := checkPage(t, page)
	assert.Equal(t, []string{"data:,"}, links, "no text becomes a link")
	assert.Contains(t, text, "<script>alert(1)</script>", "what was said is shown, as text")
	assert.Contains(t, text, `\x1b[31m`)
	assert.Empty(t, unprintable(page))

	junit := render(t, JUnit, r)
	var suites junitSuites
	require.NoError(t, xml.Unmarshal([]byte(junit), &suites))
	assert.Contains(t, suites.Suites[0].Cases[0].Name, `]]> | a |`)
	assert.Empty(t, unprintable(junit))

	summary := render(t, Markdown, r)
	assert.Empty(t, unprintable(summary))
	table := regexp.MustCompile("(?s)^(.*)\n## Repeat").FindStringSubmatch(summary)[1]
	assert.NotRegexp(t, regexp.MustCompile(`<[^b]|<b[^r]|[^\\]\x60|@|://`), table, "no HTML, code, mention or link")
	pipe := regexp.MustCompile(`(^|[^\\])\|`)
	rows := 0
	for _, line := range strings.Split(table, "\n") {
		if strings.Contains(line, "script") && strings.HasPrefix(line, "|") {
			rows++
			assert.Contains(t, []int{3, 7, 8}, len(pipe.FindAllString(line, -1)), "%s", line)
		}
	}
	assert.Greater(t, rows, len(r.Results))

	plain := consoleOf(Console{}, r)
	assert.Empty(t, unprintable(plain))
	for _, result := range r.Results {
		assert.NotContains(t, Console{}.Line(result), "\n", "one line is one line")
	}
	coloured := consoleOf(Console{Colour: true}, r)
	assert.Equal(t, plain, regexp.MustCompile(`\x1b\[[0-9;]*m`).ReplaceAllString(coloured, ""), "colour adds nothing but colour")
}

func TestAFloodOfTextIsCutWithANote(t *testing.T) {
	r := poisoned(t, strings.Repeat("flood ", 1<<20/6))
	for name, text := range map[string]string{"html": render(t, HTML, r), "junit": render(t, JUnit, r),
		"markdown": render(t, Markdown, r), "console": consoleOf(Console{}, r)} {
		assert.Less(t, len(text), 2<<20, name)
		assert.Contains(t, text, "more bytes in the record", name)
	}
}

func TestOnlyFilesOfTheRunAreLinked(t *testing.T) {
	assert.Equal(t, "captures/SIG-001-main.vcd.gz", evidenceLink("captures/SIG-001-main.vcd.gz"))
	for _, name := range []string{"", "/etc/passwd", "../x", "..", "a/../../b", "javascript:alert(1)", "//host/x", "a\\b", "a?b", "a#b",
		"c:/x", "a\nb", strings.Repeat("a", 1000), "a//b"} {
		assert.Empty(t, evidenceLink(name), "%q", name)
	}
}

func TestVisibleTextIsOneSafeLine(t *testing.T) {
	assert.Equal(t, `a\x1b[0mb\n\r\t\x00\x7f\xff\u202eé`, visible("a\x1b[0mb\n\r\t\x00\x7f\xff\u202eé", shortText))
	assert.Equal(t, "ab … (2 more bytes in the record)", visible("abcd", 2))
	assert.Equal(t, "a … (2 more bytes in the record)", visible("aé", 2), "no letter is cut in half")
	rapid.Check(t, func(t *rapid.T) {
		text := string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		shown := visible(text, 50)
		assert.True(t, utf8.ValidString(shown))
		for _, c := range shown {
			assert.True(t, unicode.IsPrint(c), "%q", c)
		}
		assert.LessOrEqual(t, len(shown), 50*6+40)
	})
}

func TestALineSaysWhatDecided(t *testing.T) {
	r := record.Result{ID: "OPS-001", Title: "28 steps", Track: "main"}
	r.Measure(verdict.Number("packets heard", 56, 0, verdict.AtLeast(56, "")))
	assert.Equal(t, "pass  OPS-001 main          28 steps: 56 (at least 56)", Console{}.Line(r))
	r.Fail(record.Failure{What: "step 3 forward", Expected: "036276", Actual: "036377"})
	assert.Equal(t, "fail  OPS-001 main          28 steps: step 3 forward: expected 036276, got 036377", Console{}.Line(r))
}

func TestProgressFitsItsLine(t *testing.T) {
	c := Console{}
	assert.Equal(t, "3 of 42 done, rig at 1.50 s, now SIG-001 main", c.Progress(3, 42, "SIG-001 main", 1500*time.Millisecond, 80))
	assert.Equal(t, "3 of 42 d…", c.Progress(3, 42, "SIG-001 main", 1500*time.Millisecond, 10))
	assert.Empty(t, c.Progress(3, 42, "x", 0, 0))
	assert.Equal(t, 1, utf8.RuneCountInString(c.Progress(3, 42, "x", 0, 1)))
}

func TestSpansOfTimeAreWorded(t *testing.T) {
	assert.Equal(t, "0.09 s", seconds(87*time.Millisecond))
	assert.Equal(t, "19.0 s", seconds(19*time.Second))
	assert.Equal(t, "10 min 5 s", seconds(605*time.Second))
}

func TestBudgetsThatDifferOnlyByTheirTrackAreToldOnce(t *testing.T) {
	r := sample(t)
	views := budgetsOf(r.Rig)
	require.Len(t, views, 5, "of seven")
	assert.Equal(t, "main, programming", views[0].Tracks)
	assert.Equal(t, "budget-1", budgetFor(views, "time between two edges", "programming"))
	assert.Equal(t, "budget-4", budgetFor(views, "time of a change of current", "main"))
	assert.Empty(t, budgetFor(views, "current", "programming"), "there is none for that track")
	assert.Empty(t, budgetFor(views, "", "main"))

	page := render(t, HTML, r)
	text, _ := checkPage(t, page)
	assert.Contains(t, page, `<a href="#budget-1">± 50 ns</a>`, "each U leads to its budget")
	for _, want := range []string{"JCGM 100:2008", "repeatability", "± 28 ppm", "√3", "± 7 %", "calibration of 2025-03-01", "out of date",
		"2025-03-01, two-track probe, number 7"} {
		assert.Contains(t, text, want)
	}
	changed := r.Rig.Budgets[2]
	changed.Components = append([]record.Component{}, changed.Components...)
	changed.Components[0].Value *= 2
	r.Rig.Budgets[2] = changed
	assert.Len(t, budgetsOf(r.Rig), 6)
}

// What a page or a summary says is added up from parts that it shows: the squares of the components make that of the sum.
func TestTheComponentsOfABudgetAddUp(t *testing.T) {
	for _, b := range sample(t).Rig.Budgets {
		sum := 0.0
		for _, c := range b.Components {
			sum += c.Standard * c.Standard
		}
		assert.InEpsilon(t, b.Combined*b.Combined, sum, 1e-9, b.Quantity)
		assert.InEpsilon(t, b.Expanded, b.Factor*b.Combined, 1e-9, b.Quantity)
	}
}
