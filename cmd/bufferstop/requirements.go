package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"bufferstop/rigs/simulated"
	"bufferstop/suites/catalogue"
)

func newRequirements() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "requirements",
		Short: "List what a station is held to, with limits and sources",
		Long: `requirements lists every requirement that run checks: what the station has to do, the limits, where they come from
and how well that is known, on which tracks it is checked, what the rig must be able to do and what the station must
claim, and which seeded defects prove that the check catches something.`,
		Example: `  bufferstop requirements
  bufferstop requirements --format json`,
		Args: noArguments,
	}
	format := formatFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		list := listRequirements()
		if format.value == "json" {
			return written(writeJSON(cmd.OutOrStdout(), list))
		}
		_, err := io.WriteString(cmd.OutOrStdout(), printRequirements(list, screenFor(cmd)))
		return written(err)
	}
	return cmd
}

// A listedRequirement is a requirement as --format json tells it.
type listedRequirement struct {
	ID       string        `json:"id"`
	Title    string        `json:"title"`
	Suite    string        `json:"suite"`
	Level    string        `json:"level"`
	Sentence string        `json:"sentence"`
	Source   string        `json:"source"`
	Evidence string        `json:"evidence"` // how well the source is known
	Tracks   []string      `json:"tracks"`
	Needs    []string      `json:"needs"`  // abilities of the rig
	Claims   []string      `json:"claims"` // of the station
	Limits   []listedLimit `json:"limits"`
	Defects  []string      `json:"defects"` // seeded defects that make it fail
}

// A listedLimit bounds a quantity. The bounds carry their unit ("55us", "50mA"); "declared" is for the station's file.
type listedLimit struct {
	Quantity string `json:"quantity"`
	Min      string `json:"min,omitempty"`
	Max      string `json:"max,omitempty"`
	Source   string `json:"source"`
}

func listRequirements() []listedRequirement {
	provedBy := map[string][]string{}
	for _, d := range simulated.Defects() {
		for _, id := range d.Breaks {
			provedBy[id] = append(provedBy[id], d.Name)
		}
	}
	var list []listedRequirement
	for _, r := range catalogue.All() {
		l := listedRequirement{ID: r.ID, Title: r.Title, Suite: r.Suite, Level: string(r.Level), Sentence: r.Sentence,
			Source: r.Source, Evidence: string(r.Evidence), Tracks: r.Tracks, Needs: orEmpty(r.Needs),
			Claims: orEmpty(r.Claims), Defects: orEmpty(provedBy[r.ID])}
		for _, limit := range r.Limits {
			limit, _ = r.Limit(limit.Quantity) // with its source
			l.Limits = append(l.Limits, listedLimit(limit))
		}
		list = append(list, l)
	}
	return list
}

// orEmpty makes JSON say [] for a list that is not there.
func orEmpty(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

func writeJSON(w io.Writer, value any) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}

func printRequirements(list []listedRequirement, s screen) string {
	var b strings.Builder
	suite := ""
	for _, r := range list {
		if r.Suite != suite {
			suite = r.Suite
			fmt.Fprintf(&b, "%s\n\n", s.paint(bold, strings.ToUpper(suite)))
		}
		const indent = 9
		line := func(name, text string) {
			if text != "" {
				fmt.Fprintf(&b, "%*s%s %s\n", indent, "", s.paint(dim, fmt.Sprintf("%-9s", name)), s.wrap(text, indent+10))
			}
		}
		fmt.Fprintf(&b, "%s  %-6s  %s\n", s.paint(bold, r.ID), r.Level, r.Title)
		fmt.Fprintf(&b, "%*s%s\n", indent, "", s.wrap(r.Sentence, indent))
		for _, limit := range r.Limits {
			line("limit", limit.words(r.Source))
		}
		line("source", r.Source+" ("+r.Evidence+")")
		line("tracks", strings.Join(r.Tracks, ", "))
		line("needs", strings.Join(r.Needs, ", "))
		line("claims", strings.Join(r.Claims, ", "))
		line("proved by", strings.Join(r.Defects, ", "))
		b.WriteByte('\n')
	}
	fmt.Fprintf(&b, "%d requirements\n", len(list))
	return b.String()
}

// words tells a limit in one line, with its source where that is not the requirement's.
func (l listedLimit) words(source string) string {
	text := l.Quantity + ": "
	switch {
	case l.Min == l.Max:
		text += "exactly " + bound(l.Min)
	case l.Min == "":
		text += "at most " + bound(l.Max)
	case l.Max == "":
		text += "at least " + bound(l.Min)
	default:
		text += bound(l.Min) + " to " + bound(l.Max)
	}
	if l.Source != source {
		text += " (" + l.Source + ")"
	}
	return text
}

// bound sets a bound of the catalogue as it is printed: "55us" as "55 µs".
func bound(text string) string {
	if text == catalogue.FromStation {
		return "what the station declares"
	}
	number := strings.TrimRight(text, "abcdefghijklmnopqrstuvwxyzA")
	unit := strings.Replace(text[len(number):], "us", "µs", 1)
	return strings.TrimSpace(number + " " + unit)
}

func requirementIDs() []string {
	var ids []string
	for _, r := range catalogue.All() {
		ids = append(ids, r.ID)
	}
	return ids
}
