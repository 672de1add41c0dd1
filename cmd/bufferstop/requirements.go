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
		Use:   "requirements [WORD...]",
		Short: "List what a station is held to, with limits and sources",
		Long: `requirements lists every requirement that run checks, or those that have every WORD in them: an id, the name of a
defect, a part of a title, a sentence or a source. It tells what the station has to do, the limits, where they come from
and how well that is known, on which tracks it is checked, what the rig must be able to do and what the station must
claim, which facts of the standards it checks, and which seeded defects prove that the check catches something.

--list duties lists those facts instead: each that binds a command station or its output, with the requirements that check
it, or with why none does and the instrument that it would take. --list editions lists what the editions of the standards
say differently; a station file chooses in [claims.editions], and the default is marked. Both take WORDs too.`,
		Example: `  bufferstop requirements
  bufferstop requirements SIG-001
  bufferstop requirements preamble "S-9.2 A"
  bufferstop requirements --list duties
  bufferstop requirements --list editions
  bufferstop requirements --format json`,
	}
	format := formatFlag(cmd)
	what := &choice{value: "requirements", from: []string{"requirements", "duties", "editions"}}
	choiceFlag(cmd, what, "list", "what to list: requirements, duties, or editions")
	cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return requirementIDs(), cobra.ShellCompDirectiveNoFileComp
	}
	cmd.RunE = func(cmd *cobra.Command, words []string) error {
		var value any
		var text func(screen) string
		var err error
		switch what.value {
		case "duties":
			var list []listedDuty
			list, err = find(listDuties(), words)
			value, text = list, func(s screen) string { return printDuties(list, s) }
		case "editions":
			var list []listedTopic
			list, err = find(listEditions(), words)
			value, text = list, func(s screen) string { return printEditions(list, s) }
		default:
			var list []listedRequirement
			list, err = find(listRequirements(), words)
			value, text = list, func(s screen) string { return printRequirements(list, s) }
		}
		if err != nil {
			return err
		}
		if format.value == "json" {
			return written(writeJSON(cmd.OutOrStdout(), value))
		}
		_, err = io.WriteString(cmd.OutOrStdout(), text(screenFor(cmd)))
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
	Offline  bool          `json:"offline"`  // the signal of a track is enough to judge it
	Implies  []string      `json:"implies"`  // requirements that a station cannot always keep which breaks this one
	Editions []string      `json:"editions"` // topics on which it depends on the edition
	Duties   []string      `json:"duties"`   // facts of the standards that it checks
	Defects  []string      `json:"defects"`  // seeded defects that make it fail
}

// A listedLimit bounds a quantity. The bounds carry their unit ("55us", "50mA"); "declared" is for the station's file.
type listedLimit struct {
	Quantity string `json:"quantity"`
	Min      string `json:"min,omitempty"`
	Max      string `json:"max,omitempty"`
	Source   string `json:"source"`
	// Topic, Edition, how well that is known, and the level by it are given where the limit is that of one edition.
	Topic    string `json:"topic,omitempty"`
	Edition  string `json:"edition,omitempty"`
	Evidence string `json:"evidence,omitempty"`
	Level    string `json:"level,omitempty"`
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
			Claims: orEmpty(r.Claims), Defects: orEmpty(provedBy[r.ID]), Offline: r.Offline, Implies: orEmpty(r.Implies),
			Editions: orEmpty(r.Topics()), Duties: orEmpty(catalogue.RowsOf(r.ID))}
		for _, limit := range r.Limits {
			if limit.Source == "" {
				limit.Source = r.Source
			}
			listed := listedLimit{Quantity: limit.Quantity, Min: limit.Min, Max: limit.Max, Source: limit.Source,
				Topic: limit.Topic, Edition: limit.Edition, Evidence: string(limit.Evidence())}
			if limit.Topic != "" {
				listed.Level = string(r.LevelBy(map[string]string{limit.Topic: limit.Edition}))
			}
			l.Limits = append(l.Limits, listed)
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
			line("limit", limit.words(r.Source, r.Level))
		}
		line("source", r.Source+" ("+r.Evidence+")")
		line("tracks", strings.Join(r.Tracks, ", "))
		line("needs", strings.Join(r.Needs, ", "))
		line("claims", strings.Join(r.Claims, ", "))
		if r.Offline {
			line("offline", "the signal of a track is enough")
		}
		line("editions", strings.Join(r.Editions, ", "))
		line("implies", strings.Join(r.Implies, ", "))
		line("duties", strings.Join(r.Duties, ", "))
		line("proved by", strings.Join(r.Defects, ", "))
		b.WriteByte('\n')
	}
	fmt.Fprintf(&b, "%s\n", plural(len(list), "requirement"))
	return b.String()
}

// words tells a limit in one line, with its source where that is not the requirement's.
func (l listedLimit) words(source, level string) string {
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
	if l.Edition != "" {
		text += ", by " + l.Edition
		if l.Level != level {
			text += " (" + l.Level + ")"
		}
	}
	return text
}

// bound sets a bound of the catalogue as it is printed: "55us" as "55 µs", "2.4V/us" as "2.4 V/µs", "300%" as it is.
func bound(text string) string {
	if text == catalogue.FromStation {
		return "what the station declares"
	}
	number := strings.TrimRight(text, "abcdefghijklmnopqrstuvwxyzAV/")
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
