package main

import (
	"fmt"
	"strings"

	"bufferstop/suites/catalogue"
)

// A listedDuty is a fact of the standards as --format json tells it: with what checks it, or why nothing does.
type listedDuty struct {
	ID           string   `json:"id"`
	Binds        string   `json:"binds"`
	Fact         string   `json:"fact"`
	Source       string   `json:"source"`
	Evidence     string   `json:"evidence"`
	Requirements []string `json:"requirements"`
	Explained    string   `json:"explained,omitempty"`
	Instrument   string   `json:"instrument,omitempty"`
}

func listDuties() []listedDuty {
	var list []listedDuty
	for _, r := range catalogue.Rows() {
		list = append(list, listedDuty{ID: r.ID, Binds: r.Binds, Fact: r.Fact, Source: r.Source, Evidence: string(r.Evidence),
			Requirements: orEmpty(r.Requirements), Explained: r.Explained, Instrument: r.Instrument})
	}
	return list
}

func printDuties(list []listedDuty, s screen) string {
	var b strings.Builder
	const indent = 5
	line := func(name, text string) {
		if text != "" {
			fmt.Fprintf(&b, "%*s%s %s\n", indent, "", s.paint(dim, fmt.Sprintf("%-10s", name)), s.wrap(text, indent+11))
		}
	}
	checked := 0
	for _, d := range list {
		fmt.Fprintf(&b, "%s %s\n", s.paint(bold, fmt.Sprintf("%-4s", d.ID)), s.wrap(d.Fact, indent))
		line("binds", d.Binds)
		line("source", d.Source+" ("+d.Evidence+")")
		line("checked by", strings.Join(d.Requirements, ", "))
		line("unchecked", d.Explained)
		if d.Instrument != catalogue.NoInstrument {
			line("would take", d.Instrument)
		}
		b.WriteByte('\n')
		if len(d.Requirements) > 0 {
			checked++
		}
	}
	fmt.Fprintf(&b, "%s of the standards: %d checked, %d explained\n", plural(len(list), "fact"), checked, len(list)-checked)
	return b.String()
}

// A listedTopic is something on which editions differ, as --format json tells it.
type listedTopic struct {
	Topic    string          `json:"topic"`
	About    string          `json:"about"`
	Rows     []string        `json:"rows"`
	Decoder  bool            `json:"decoder"` // it binds decoders alone
	Editions []listedEdition `json:"editions"`
}

type listedEdition struct {
	Name     string `json:"name"`
	Source   string `json:"source"`
	Evidence string `json:"evidence"`
	Follows  string `json:"follows"`
	Default  bool   `json:"default"`
}

func listEditions() []listedTopic {
	var list []listedTopic
	for _, t := range catalogue.Topics() {
		l := listedTopic{Topic: t.Name, About: t.About, Rows: t.Rows, Decoder: t.Decoder}
		for _, e := range t.Editions {
			l.Editions = append(l.Editions, listedEdition{e.Name, e.Source, string(e.Evidence), e.Follows, e.Default})
		}
		list = append(list, l)
	}
	return list
}

func printEditions(list []listedTopic, s screen) string {
	var b strings.Builder
	for _, t := range list {
		about := t.About
		if t.Decoder {
			about += "; it binds decoders, a station has nothing to choose"
		}
		fmt.Fprintf(&b, "%s  %s\n", s.paint(bold, t.Topic), s.wrap(about+" ("+strings.Join(t.Rows, ", ")+")", len(t.Topic)+2))
		for _, e := range t.Editions {
			mark := " "
			if e.Default {
				mark = "*"
			}
			fmt.Fprintf(&b, "  %s %s\n", mark, s.paint(bold, e.Name))
			fmt.Fprintf(&b, "      %s\n", s.wrap(e.Follows, 6))
			fmt.Fprintf(&b, "      %s\n", s.paint(dim, s.wrap(e.Source+" ("+e.Evidence+")", 6)))
		}
		b.WriteByte('\n')
	}
	fmt.Fprintf(&b, "%s; * is the default\n", plural(len(list), "topic"))
	return b.String()
}
