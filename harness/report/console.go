package report

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

// A Console words a run for a terminal or a log. The zero value writes plain text; the caller decides about Colour, and
// where the text goes.
type Console struct {
	Colour bool
	// InFile says that times are those of a recording that was judged, and not of a rig.
	InFile bool
}

// SGR parameters (ECMA-48 section 8.3.117) of the verdicts; the word says the same without them.
var colours = map[verdict.Verdict]string{
	verdict.Pass:            "32",
	verdict.ConditionalPass: "33",
	verdict.ConditionalFail: "1;31",
	verdict.Fail:            "1;31",
	verdict.Error:           "1;35",
	verdict.Inconclusive:    "35",
	verdict.NotFitted:       "2",
	verdict.NotClaimed:      "2",
	verdict.Excluded:        "2",
}

func (c Console) paint(sgr, text string) string {
	if !c.Colour || sgr == "" {
		return text
	}
	return "\x1b[" + sgr + "m" + text + "\x1b[0m"
}

// pad fills text up with spaces to width columns.
func pad(text string, width int) string {
	return text + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(text)))
}

// Line is one finished requirement in one line, without a line feed: verdict, name, and what decided.
func (c Console) Line(r record.Result) string {
	v := r.Verdict.Settle()
	detail := visible(r.Title, shortText)
	switch m, ok := r.Worst(); {
	case len(r.Failures) > 0 && !m.Verdict.Outside(): // the measurements are not what failed
		detail += ": " + visible(headline(r), shortText)
	case ok:
		detail += ": " + measured(m)
	}
	if r.Reason != "" {
		detail += " (" + visible(r.Reason, shortText) + ")"
	}
	if word := waiverWords(r); word != "" {
		detail += "; " + visible(word, longText)
	}
	return c.paint(colours[v], pad(v.String(), 4)) + "  " + pad(visible(r.Name(), shortText), 20) + "  " + detail
}

// measured words the worst case of a measurement and, in brackets, what it was held to. A quantity that passes goes
// without its name, which the requirement's title tells, so that the line fits a terminal.
func measured(m verdict.Measurement) string {
	if m.Count == 0 {
		return visible(m.Name, shortText) + " never seen"
	}
	text := m.Unit.Format(m.Value)
	if m.Unit == verdict.Count && m.Value == 0 {
		text = "none"
	}
	if m.Verdict != verdict.Pass {
		text = visible(m.Name, shortText) + " " + text
	}
	if m.Limit.Bounded() {
		text += " (" + m.Unit.FormatLimit(m.Limit) + ")"
	}
	return text
}

// Details is the block that explains a result which needs attention, or the empty string for one that does not. It ends
// with a line feed.
func (c Console) Details(r record.Result) string {
	v := r.Verdict.Settle()
	if !needsAttention(r) {
		return ""
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s  %s  %s\n", c.paint("1", visible(r.Name(), shortText)), c.paint(colours[v], v.String()),
		visible(r.Title, shortText))
	line := func(name, text string) {
		if text != "" {
			fmt.Fprintf(&b, "    %s  %s\n", pad(name, 8), text)
		}
	}
	line(visible(string(r.Level), shortText), visible(r.Sentence, longText))
	line("source", visible(r.Source, shortText))
	line("edition", visible(strings.Join(r.Editions, ", "), shortText))
	line("waiver", visible(waiverWords(r), longText))
	line("reason", visible(r.Reason, longText))
	for _, m := range r.Measurements {
		if m.Verdict == verdict.Pass || m.Verdict.Skipped() || told(r, m) {
			continue
		}
		b.WriteString("\n")
		line("measured", visible(m.Name, shortText)+", "+m.Verdict.Settle().String())
		line("expected", m.Unit.FormatLimit(m.Limit))
		line("actual", m.String())
		if m.Count == 0 {
			continue
		}
		line("at", c.clock(m.At))
	}
	for _, f := range r.Failures {
		b.WriteString("\n")
		line("failure", visible(f.What, longText))
		line("expected", visible(f.Expected, longText))
		line("actual", visible(f.Actual, longText))
		line("at", c.clock(f.At))
		line("evidence", visible(f.Evidence, shortText))
	}
	for _, note := range r.Notes {
		line("note", visible(note, longText))
	}
	return b.String()
}

// told reports whether a failure already tells of a measurement.
func told(r record.Result, m verdict.Measurement) bool {
	return slices.ContainsFunc(r.Failures, func(f record.Failure) bool { return f.What == m.Name })
}

// clock words a time on the rig's clock, or in the file.
func (c Console) clock(at time.Duration) string {
	if c.InFile {
		return fmt.Sprintf("%.6f s in the file", at.Seconds())
	}
	return fmt.Sprintf("%.6f s on the rig's clock", at.Seconds())
}

// seconds words how long something took.
func seconds(d time.Duration) string {
	switch {
	case d < 10*time.Second:
		return fmt.Sprintf("%.2f s", d.Seconds())
	case d < 2*time.Minute:
		return fmt.Sprintf("%.1f s", d.Seconds())
	}
	return fmt.Sprintf("%d min %d s", int(d.Minutes()), int(d.Seconds())%60)
}

// needsAttention reports whether a result is to be explained: it is no pass and was not skipped, or its waiver is void.
func needsAttention(r record.Result) bool {
	v := r.Verdict.Settle()
	return v != verdict.Pass && !v.Skipped() || r.VoidWaiver() != ""
}

// Summary closes the run: the details of all results that need attention, the counts, the outcome in words and how to
// repeat the run. It ends with a line feed.
func (c Console) Summary(r *record.Record) string {
	var b strings.Builder
	for _, result := range r.Results {
		if details := c.Details(result); details != "" {
			b.WriteString("\n" + details)
		}
	}
	b.WriteString("\n")
	counts := []string{}
	for _, v := range verdict.All() {
		if n := r.Totals.Of(v); n > 0 {
			counts = append(counts, c.paint(colours[v], fmt.Sprintf("%d %s", n, v)))
		}
	}
	if n := r.Totals.Waived; n > 0 {
		counts = append(counts, fmt.Sprintf("of these %d waived", n))
	}
	fmt.Fprintf(&b, "%d checks: %s\n", r.Totals.Sum(), strings.Join(counts, ", "))
	if r.Rig.Capture != nil {
		fmt.Fprintf(&b, "%s of signal, judged in %s\n", seconds(r.RigTime), seconds(r.WallTime))
	} else {
		fmt.Fprintf(&b, "%s on the rig, %s on the wall clock\n", seconds(r.RigTime), seconds(r.WallTime))
	}
	if line := budgetsLine(r); line != "" {
		fmt.Fprintf(&b, "U (k=2): %s\n", line)
	}
	if line := calibrationLine(r.Rig); line != "" {
		fmt.Fprintf(&b, "calibration: %s\n", visible(line, shortText))
	}
	for _, o := range r.Rig.Observations {
		if strings.Contains(r.Statement, o) {
			continue // it is told below, as a reason
		}
		fmt.Fprintf(&b, "%s: %s\n", c.paint("33", "observation of the rig"), visible(o, longText))
	}
	fmt.Fprintf(&b, "%s: %s\n", c.paint("1;"+outcomeColour(r.Outcome), visible(string(r.Outcome), shortText)), visible(r.Statement, longText))
	if r.Repeat != "" {
		fmt.Fprintf(&b, "repeat with: %s\n", visible(r.Repeat, longText))
	}
	return b.String()
}

func outcomeColour(o verdict.Outcome) string {
	switch o {
	case verdict.Conforms:
		return "32"
	case verdict.ConformsWithObservations, verdict.Incomplete:
		return "33"
	case verdict.DoesNotConform:
		return "31"
	}
	return "35"
}

// Progress is the line that a terminal shows while a requirement is being checked, cut to width columns. The caller
// writes it over itself: a carriage return before it, and Erase when a result is due.
func (c Console) Progress(done, total int, name string, rig time.Duration, width int) string {
	text := []rune(fmt.Sprintf("%d of %d done, rig at %s, now %s", done, total, seconds(rig), visible(name, shortText)))
	if width < 1 {
		return ""
	}
	if len(text) > width {
		text = append(text[:width-1], '…')
	}
	return c.paint("2", string(text))
}

// Erase is the sequence that clears the progress line: carriage return, then erase in line (ECMA-48 section 8.3.41).
const Erase = "\r\x1b[K"
