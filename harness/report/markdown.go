package report

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

// Markdown writes a short summary in GitHub-flavoured Markdown: outcome, build, what needs attention, and a table of all
// results.
func Markdown(w io.Writer, r *record.Record) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# bufferstop: %s\n\n%s\n\n", markdownText(string(r.Outcome)), markdownText(r.Statement))

	b.WriteString("| What | |\n|---|---|\n")
	for _, row := range [][2]string{
		{"Station", strings.TrimSpace(r.Build.Maker + " " + r.Build.Model)},
		{"Version", r.Build.Version},
		{"Serial", r.Build.Serial},
		{"Image", r.Build.Image},
		{"Image SHA-256", r.Build.ImageSHA256},
		{"Source revision", r.Build.SourceRevision},
		{"Rig", rigLine(r.Rig)},
		{"Capture", captureLine(r.Rig)},
		{"Seeded defect", r.Defect},
		{"Selection", selectionLine(r.Selection)},
		{"Started", r.Started.UTC().Format("2006-01-02 15:04:05 UTC")},
		{"Rig time", seconds(r.RigTime)},
		{"Link log", linkLogs(r)},
		{"Calibration", calibrationLine(r.Rig)},
		{"Observations of the rig", observationsLine(r.Rig)},
		{"Observations of the station", strings.Join(r.Station.Observations, "; ")},
		{"Waived", waivedLine(r)},
	} {
		if row[1] != "" {
			fmt.Fprintf(&b, "| %s | %s |\n", row[0], markdownText(row[1]))
		}
	}

	b.WriteString("\n| Verdict | Checks |\n|---|---:|\n")
	for _, v := range verdict.All() {
		if n := r.Totals.Of(v); n > 0 {
			fmt.Fprintf(&b, "| %s | %d |\n", v, n)
		}
	}

	for _, group := range groupBySuite(r.Results) {
		fmt.Fprintf(&b, "\n## %s\n\n", markdownText(group.Suite))
		b.WriteString("| Requirement | Level | Verdict | Measured | Allowed | Margin | Source |\n|---|---|---|---|---|---|---|\n")
		for _, result := range group.Results {
			markdownRow(&b, result)
		}
	}

	markdownBudgets(&b, r.Rig)

	if r.Repeat != "" {
		fmt.Fprintf(&b, "\n## Repeat this run\n\n%s\n", markdownCode(r.Repeat))
	}
	fmt.Fprintf(&b, "\n%s\n", scope)
	_, err := w.Write(b.Bytes())
	return err
}

func markdownRow(b *bytes.Buffer, r record.Result) {
	v := r.Verdict.Settle()
	word := v.String()
	if v != verdict.Pass && !v.Skipped() {
		word = "**" + word + "**"
	}
	if text := waiverWords(r); text != "" {
		word += "<br>" + markdownText(text)
	}
	source := markdownText(r.Source)
	for _, edition := range r.Editions {
		source += "<br>" + markdownText(edition)
	}
	value, allowed, margin := "", "", ""
	if m, ok := r.Worst(); ok {
		value = markdownText(m.Name) + ": nothing seen"
		if m.Count > 0 {
			value = markdownText(m.Name + ": " + m.Unit.Format(m.Value) + plusMinus(m))
		}
		if m.Limit.Bounded() {
			allowed = markdownText(m.Unit.FormatLimit(m.Limit))
		}
		if m.Margin != nil {
			margin = markdownText(m.Unit.FormatSigned(*m.Margin))
		}
	}
	if v != verdict.Pass && (len(r.Failures) > 0 || r.Reason != "") {
		value = strings.TrimPrefix(value+"<br>"+markdownText(headline(r)), "<br>")
	}
	fmt.Fprintf(b, "| %s %s | %s | %s | %s | %s | %s | %s |\n", markdownText(r.Name()), markdownText(r.Title), markdownText(string(r.Level)), word,
		value, allowed, margin, source)
}

// markdownBudgets sets out what made the measurements uncertain.
func markdownBudgets(b *bytes.Buffer, r record.Rig) {
	for i, v := range budgetsOf(r) {
		if i == 0 {
			fmt.Fprintf(b, "\n## Uncertainty\n\n%s Each budget is added up for a usual value; the U of a measurement is that of its own.\n", budgetFormula)
		}
		name := v.Quantity
		if v.Tracks != "" {
			name += " (" + v.Tracks + ")"
		}
		fmt.Fprintf(b, "\n| %s: %s | Value | Distribution | Divisor | u | Source |\n|---|---|---|---|---:|---|\n", markdownText(name), markdownText(v.Model))
		for _, c := range v.Components {
			fmt.Fprintf(b, "| %s | %s | %s | %s | %s | %s |\n", markdownText(c.Name), markdownText(c.Value),
				markdownText(c.Distribution), markdownText(c.Divisor), markdownText(c.Standard), markdownText(c.Source))
		}
		fmt.Fprintf(b, "| **at %s: U %s** |  |  | k = %s | uc = %s | %s |\n", markdownText(v.Typical), markdownText(v.Expanded), v.Factor,
			markdownText(v.Combined), markdownText(freedomWords(v.Freedom)))
	}
}

// freedomWords words effective degrees of freedom.
func freedomWords(freedom string) string {
	if freedom == "" {
		return ""
	}
	return freedom + " effective degrees of freedom"
}

// markdownText makes text from outside plain in a table cell: no line break, no pipe, and nothing that Markdown or HTML
// would read as more than text. Every ASCII punctuation character may be escaped (CommonMark 0.31.2 section 2.4);
// those that could start an HTML tag or a character reference become references.
func markdownText(text string) string {
	var b strings.Builder
	for _, c := range visible(text, shortText) {
		switch c {
		case '<':
			b.WriteString("&lt;")
		case '>':
			b.WriteString("&gt;")
		case '&':
			b.WriteString("&amp;")
		case '@':
			b.WriteString("&#64;") // a mention would notify somebody
		case '\\', '`', '*', '_', '[', ']', '|', '~', '#', '!', '$':
			b.WriteByte('\\')
			b.WriteRune(c)
		default:
			b.WriteRune(c)
		}
	}
	return links.Replace(b.String())
}

// links breaks what GitHub would turn into a link without being asked (GFM 0.29 section 6.9).
var links = strings.NewReplacer("://", "&#58;//", "www.", "www&#46;")

// markdownCode is a fenced block whose fence is longer than any run of backticks inside (CommonMark 0.31.2 section 4.5).
func markdownCode(text string) string {
	text = visible(text, longText)
	longest, run := 0, 0
	for _, c := range text {
		if c == '`' {
			run++
			longest = max(longest, run)
		} else {
			run = 0
		}
	}
	fence := strings.Repeat("`", max(3, longest+1))
	return fence + "\n" + text + "\n" + fence
}

// waivedLine counts what waivers let pass; nothing where there are none.
func waivedLine(r *record.Record) string {
	if len(r.Waivers) == 0 {
		return ""
	}
	return fmt.Sprintf("%d checks, by %d waivers", r.Totals.Waived, len(r.Waivers))
}

// plusMinus words U, or nothing for an exact value.
func plusMinus(m verdict.Measurement) string {
	if m.Uncertainty == 0 {
		return ""
	}
	return " ± " + m.Unit.Format(m.Uncertainty)
}
