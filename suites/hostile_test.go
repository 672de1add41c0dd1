package suites_test

import (
	"bytes"
	"context"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"bufferstop/harness/link"
	"bufferstop/harness/record"
	"bufferstop/harness/report"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// hostile is what a station may say, out of malice or because it is broken. None of it has a line feed, a comma, a
// semicolon or a quotation mark, so that the reference dialect takes it for a part of an identity.
var hostile = map[string]string{
	"markup":            `</td><script>alert(1)</script><img src=x onerror=alert(1)>&lt`,
	"XML":               `]]><!ENTITY x SYSTEM 'file:///etc/passwd'>&x`,
	"Markdown":          "**bold** [x](javascript:alert(1)) |a|b| `code` @all https://example.org",
	"control":           "\x00\x01\x02\b\x0b\x0c\x7f\r",
	"terminal":          "\x1b[2J\x1b]0title\x07\x1b[31mred\x1bP+q\x1b\\\u009b31m",
	"no UTF-8":          "\xff\xfe\xc0\x80\xed\xa0\x80\xf5",
	"direction":         "\u202egnp.exe\u2066\u2069\u200b\ufeff",
	"not for XML":       "\ufffe\uffff",
	"a million letters": strings.Repeat("A", 1<<20),
	"a long line":       strings.Repeat("<b>", 300),
	"format":            "%s%n%!d(MISSING){{.}}${x}",
	"nothing":           "",
}

// tellsAnything is the reference station's file with a dialect that takes any bytes for text, and lines of any length.
func tellsAnything(t *testing.T) *station.File {
	t.Helper()
	file := reference(t)
	data, err := os.ReadFile("../rigs/reference.dialect.toml")
	require.NoError(t, err)
	text := strings.Replace(string(data), "[line]\n", "[line]\ntext = \"any\"\n", 1)
	text = strings.Replace(text, "limit = 1024", "limit = 1048576", 1)
	file.Dialect, err = station.ParseDialect("anything.dialect.toml", []byte(text))
	require.NoError(t, err)
	return file
}

// insults is a station that says hostile things in the places of its answers.
type insults struct {
	link.Link
	text string
	// identity and command tell where.
	identity, command bool
	pending           []byte
	swallow           bool
}

func (i *insults) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	switch {
	case i.identity && bytes.HasSuffix(p, []byte("*IDN?\n")):
		i.pending, i.swallow = []byte(i.text+","+i.text+",1,"+i.text+"\n"), true
	case i.command && bytes.HasPrefix(p, []byte("LOCO:")):
		i.pending, i.swallow = []byte(i.text+"\n"), true
	}
	return i.Link.Write(ctx, p, timeout)
}

func (i *insults) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	for i.swallow {
		n, err := i.Link.Read(ctx, p, timeout)
		if err != nil {
			return n, err
		}
		i.swallow = bytes.IndexByte(p[:n], '\n') < 0
	}
	if len(i.pending) > 0 {
		n := copy(p, i.pending)
		i.pending = i.pending[n:]
		return n, nil
	}
	return i.Link.Read(ctx, p, timeout)
}

func TestHostileTextHarmsNothing(t *testing.T) {
	for name, text := range hostile {
		for file, load := range map[string]func(*testing.T) *station.File{"any text": tellsAnything, "text only": reference} {
			t.Run(name+", "+file, func(t *testing.T) {
				dir := t.TempDir()
				identity := file == "any text" && len(text) < 1<<18 // three of them are one line
				rig := wired(t, simulated.Options{Seed: 1}, func(l link.Link, _ link.Clock) link.Link {
					return &insults{Link: l, text: text, identity: identity, command: true}
				})
				defer func() { require.NoError(t, rig.Close()) }()
				var lines strings.Builder
				run, err := suites.Run(t.Context(), rig, load(t), suites.Options{
					Selection: suites.Selection{Requirements: []string{"OPS-001", "SRV-009"}},
					Evidence:  dir,
					OnResult:  func(r record.Result) { lines.WriteString(report.Console{}.Line(r) + "\n") },
				})
				require.NoError(t, err)
				assert.Equal(t, verdict.DoesNotConform, run.Outcome, "%.200s", run.Statement)
				require.Equal(t, verdict.Fail, run.Results[0].Verdict, "%.200s", run.Results[0].Reason)
				assert.Equal(t, verdict.Pass, run.Results[1].Verdict, "the run goes on")
				require.NoError(t, report.Save(dir, run))
				assertSafe(t, dir, run, lines.String())
			})
		}
	}
}

// assertSafe looks at everything that a run leaves behind.
func assertSafe(t *testing.T, dir string, run *record.Record, lines string) {
	t.Helper()
	contents := func(name string) string {
		data, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		assert.Less(t, len(data), 1<<20, name)
		assert.True(t, utf8.Valid(data), name)
		return string(data)
	}
	document, err := jsonschema.UnmarshalJSON(strings.NewReader(contents(record.FileName)))
	require.NoError(t, err)
	form, err := jsonschema.UnmarshalJSON(bytes.NewReader(record.JSONSchema))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	require.NoError(t, compiler.AddResource("record.json", form))
	schema, err := compiler.Compile("record.json")
	require.NoError(t, err)
	assert.NoError(t, schema.Validate(document))

	junit := contents(report.JUnitName)
	decoder := xml.NewDecoder(strings.NewReader(junit))
	for {
		token, err := decoder.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		if start, ok := token.(xml.StartElement); ok {
			assert.Contains(t, []string{"testsuites", "testsuite", "properties", "property", "testcase", "failure", "error", "skipped", "system-out"},
				start.Name.Local, "no element of the station's")
		}
	}
	page := contents(report.HTMLName)
	for _, element := range []string{"<script", "<img", "<b>alert", "onerror=alert(1)>", "<!ENTITY"} {
		assert.NotContains(t, page, element)
	}
	assert.NotContains(t, contents(report.MarkdownName), "<script")
	assert.NotRegexp(t, `[^\\]\]\(javascript`, contents(report.MarkdownName), "no link")
	console := lines + report.Console{}.Summary(run)
	for name, text := range map[string]string{"junit": junit, "html": page, "markdown": contents(report.MarkdownName), "console": console} {
		assert.Equal(t, -1, strings.IndexFunc(text, func(r rune) bool {
			return r != '\n' && r != '\t' && r != '\u00ad' && !unicode.IsPrint(r)
		}), "%s has nothing that does not print", name)
	}
	log := logOf(t, dir, run)
	var text bytes.Buffer
	_, err = log.WriteTo(&text)
	require.NoError(t, err)
	assert.Equal(t, -1, bytes.IndexFunc(text.Bytes(), func(r rune) bool { return r != '\n' && (r < ' ' || r > '~') }), "the log is printable ASCII")
}

func TestHostileIdentityThatCannotBeUnderstoodIsQuoted(t *testing.T) {
	for name, text := range hostile {
		rig := wired(t, simulated.Options{Seed: 1}, func(l link.Link, _ link.Clock) link.Link {
			return &replying{Link: l, to: "*IDN?", instead: "oh " + text}
		})
		_, err := suites.Run(t.Context(), rig, reference(t), suites.Options{Selection: few})
		require.NoError(t, rig.Close())
		require.Error(t, err, name)
		assert.Contains(t, err.Error(), "; the fault is the station's", name)
		assert.Less(t, len(err.Error()), 16<<10, name)
		assert.Equal(t, -1, strings.IndexFunc(err.Error(), func(r rune) bool { return !unicode.IsPrint(r) }), "%s: %.300q", name, err)
	}
}
