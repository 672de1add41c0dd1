package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
	"bufferstop/suites/rigcheck"
)

// printRigReport sets the page that a person acts on. All that a station or a file says is quoted.
func printRigReport(out io.Writer, r *rigcheck.Report, s screen) error {
	s.width = min(s.width, 80) // a page, to be printed or sent to somebody
	p := rigPage{screen: s}
	p.row("rig", fmt.Sprintf("%+q (%s)", r.Rig.Name, r.Rig.Kind))
	text := fmt.Sprintf("%+q", r.Station.Name)
	if r.Station.Dialect != "" {
		text += fmt.Sprintf(", dialect %+q", r.Station.Dialect)
	}
	p.row("station", text)
	p.row("it says", identityWords(r.Identity))
	p.WriteByte('\n')
	p.row("round trip", roundTripWords(r.RoundTrip))
	p.row("line ends", r.LineEnds.String())
	p.row("echo", yesNo(r.Echo))
	p.row("at first", stretchWords(r.Before))
	p.row("by itself", unsolicitedWords(r.Unsolicited))
	if r.Restarts > 0 {
		p.row("restarts", fmt.Sprint(r.Restarts))
	}
	p.measuring(r)
	p.WriteByte('\n')
	p.tracks(r.Tracks)
	p.reasons(r.Tracks)
	p.findings(r)
	_, err := io.WriteString(out, p.String())
	return err
}

// A rigPage grows from the top.
type rigPage struct {
	strings.Builder
	screen
}

const rigColumn = 12 // of the text beside the names

func (p *rigPage) row(name, text string) {
	fmt.Fprintf(p, "%s%s\n", p.paint(dim, fmt.Sprintf("%-*s", rigColumn, name)), p.wrap(text, rigColumn))
}

func identityWords(said *rigcheck.Said) string {
	if said == nil {
		return "nothing that tells who it is"
	}
	var parts []string
	for _, part := range []struct{ name, text string }{
		{"maker", said.Maker}, {"model", said.Model}, {"serial number", said.Serial}, {"version", said.Version},
	} {
		if part.text != "" {
			parts = append(parts, fmt.Sprintf("%s %+q", part.name, part.text))
		}
	}
	if len(parts) == 0 {
		return fmt.Sprintf("%+q", said.Text)
	}
	return strings.Join(parts, ", ")
}

// aboutStation is the same for an answer that was just got.
func aboutStation(i station.Identity) *rigcheck.Said {
	return &rigcheck.Said{Maker: i.Maker, Model: i.Model, Serial: i.Serial, Version: i.Version, Text: i.Text}
}

func roundTripWords(t rigcheck.RoundTrip) string {
	if t.Question == "" {
		return "not measured: the dialect has no question that changes nothing"
	}
	text := fmt.Sprintf("%s %s", t.Question, plural(t.Asked, "time"))
	if t.Shortened {
		text += " (all that the time allowed)"
	}
	if t.Answered < t.Asked {
		text += fmt.Sprintf(", answered %d", t.Answered)
	}
	if t.Answered == 0 {
		return text
	}
	return text + fmt.Sprintf(": median %s, 95%% in %s, at most %s", lasting(t.Median), lasting(t.P95), lasting(t.Max))
}

// lasting prints a time to a hundredth of a millisecond, which is less than any link is sure of.
func lasting(d time.Duration) string {
	return verdict.Nanoseconds.Format(float64(d.Round(10 * time.Microsecond)))
}

func stretchWords(s rigcheck.Stretch) string {
	switch {
	case s.Bytes == 0:
		return "quiet before it was asked anything"
	case s.Endless:
		return fmt.Sprintf("talks without pause: %d bytes, beginning %+q", s.Bytes, s.Start)
	}
	return fmt.Sprintf("%d bytes before it was asked anything, beginning %+q", s.Bytes, s.Start)
}

func unsolicitedWords(u rigcheck.Unsolicited) string {
	if u.Lines == 0 {
		return fmt.Sprintf("nothing in %s", lasting(u.Over))
	}
	return fmt.Sprintf("%s in %s, the first %+q", plural(u.Lines, "line"), lasting(u.Over), u.First)
}

func yesNo(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

// abilityWords say what a rig does on a track that has the ability.
var abilityWords = []struct {
	ability harness.Ability
	words   string
}{
	{harness.SeeEdges, "sees the signal"},
	{harness.SeeCurrent, "measures the current"},
	{harness.LayShort, "lays a short"},
	{harness.LayLoad, "lays a load"},
	{harness.LayInrush, "lays an inrush"},
	{harness.FitDecoder, "fits a decoder"},
	{harness.CutSupply, "cuts the supply"},
	{harness.ReopenLink, "opens the link anew"},
	{harness.SeeVolts, "sees the voltage"},
}

// tracks sets one column a track.
func (p *rigPage) tracks(tracks []rigcheck.Track) {
	const names, column = 32, 12
	line := func(name string, cell func(rigcheck.Track) string) {
		fmt.Fprintf(p, "%-*s", names, name)
		for i, t := range tracks {
			width := column
			if i == len(tracks)-1 {
				width = 0 // nothing hangs over the end of a line
			}
			fmt.Fprintf(p, "%-*s", width, cell(t))
		}
		p.WriteByte('\n')
	}
	line("track", func(t rigcheck.Track) string { return t.Name })
	line("  the station claims it", func(t rigcheck.Track) string { return yesNo(t.Claimed) })
	for _, a := range abilityWords {
		line("  the rig "+a.words, func(t rigcheck.Track) string { return yesNo(slices.Contains(t.Can, a.ability)) })
	}
	line("  requirements", func(t rigcheck.Track) string { return fmt.Sprint(t.Checks) })
	line("    not claimed", func(t rigcheck.Track) string { return fmt.Sprint(t.NotClaimed) })
	line("    not fitted", func(t rigcheck.Track) string { return fmt.Sprint(t.NotFitted) })
	line("    can be checked", func(t rigcheck.Track) string { return fmt.Sprint(t.Checks - t.NotClaimed - t.NotFitted) })
}

// measuring sets how well the rig measures: the calibration of its probe, U, and the loop times.
func (p *rigPage) measuring(r *rigcheck.Report) {
	if c := r.Calibration; c != nil {
		p.row("probe", fmt.Sprintf("%+q, number %d", c.Probe, c.Serial))
		p.row("calibrated", calibrationWords(c))
	}
	for i, text := range uncertaintyWords(r.Uncertainties) {
		name := ""
		if i == 0 {
			name = "U (k=2)"
		}
		p.row(name, text)
	}
	for i, l := range r.Loops {
		name := ""
		if i == 0 {
			name = "loop time"
		}
		p.row(name, loopWords(l))
	}
}

func calibrationWords(c *rigcheck.Calibration) string {
	if c.Date == "" {
		return "no"
	}
	text := fmt.Sprintf("on %s, valid until %s", c.Date, c.Until)
	if c.PPM != nil {
		text += fmt.Sprintf("; its second is %+.1f ppm longer than it should be, ± %.1f ppm", *c.PPM, *c.U)
	}
	return text
}

// uncertaintyWords tells the two that matter most: of a half-bit and of a current.
func uncertaintyWords(all []rigcheck.Uncertainty) (parts []string) {
	for _, u := range all {
		if u.Quantity != uncertainty.EdgeTime && u.Quantity != uncertainty.Current {
			continue
		}
		unit := verdict.Unit(u.Unit)
		part := fmt.Sprintf("%s ± %s at %s", u.Quantity, unit.Format(uncertainty.RoundUp(u.U)), unit.Format(u.Typical))
		if u.Track != "" {
			part = u.Track + ": " + part
		}
		parts = append(parts, part)
	}
	return parts
}

func loopWords(l rigcheck.Loop) string {
	suits := "in time for an acknowledge"
	if !l.Suits() {
		suits = "too late for an acknowledge"
	}
	text := fmt.Sprintf("%s: median %s, 99%% in %s, ± %s; %s, which may take %s (S-9.2.3)", l.Track, lasting(l.Median), lasting(l.P99), lasting(l.U), suits, lasting(l.Limit))
	if l.Calibrated != "" {
		return text + "; from the calibration of " + l.Calibrated
	}
	return text + fmt.Sprintf("; %s", plural(l.Events, "event"))
}

// reasons sets what there is to say of single abilities.
func (p *rigPage) reasons(tracks []rigcheck.Track) {
	for _, t := range tracks {
		for _, reason := range t.Reasons {
			name := t.Name + ": "
			fmt.Fprintf(p, "%s%s\n", p.paint(dim, name), p.wrap(fmt.Sprintf("%s: %s", reason.Ability, harmless(reason.Why)), len(name)))
		}
	}
}

// findings sets what to act on, and the one line that says whether to.
func (p *rigPage) findings(r *rigcheck.Report) {
	const indent = 15 // as wide as the longest severity
	p.WriteByte('\n')
	for _, f := range r.Findings {
		name := fmt.Sprintf("%-*s", indent, f.Severity)
		if f.Severity != rigcheck.Remark {
			name = p.paint(red, name)
		}
		fmt.Fprintf(p, "%s%s\n", name, p.wrap(harmless(f.What), indent))
		if f.Hint != "" {
			fmt.Fprintf(p, "%*s%s\n", indent, "", p.paint(dim, p.wrap("hint: "+harmless(f.Hint), indent)))
		}
	}
	if len(r.Findings) > 0 {
		p.WriteByte('\n')
	}
	switch worst := r.Worst(); worst {
	case "":
		p.WriteString("the rig is ready\n")
	case rigcheck.Remark:
		fmt.Fprintf(p, "the rig is ready, with %s\n", plural(len(r.Findings), "remark"))
	case rigcheck.Configuration:
		p.WriteString("the rig is not ready: its files do not fit the station\n")
	default:
		p.WriteString("the rig is not ready: it has a fault\n")
	}
}
