package report

import (
	"fmt"
	"strings"

	"bufferstop/harness/record"
)

// scope is what every report says of itself.
const scope = "This report says what was tested and what was measured. It does not say that a layout is safe."

// A group is the results of one suite, in the order in which they were recorded.
type group struct {
	Suite   string
	Results []record.Result
}

func groupBySuite(results []record.Result) []group {
	var groups []group
	place := map[string]int{}
	for _, r := range results {
		i, known := place[r.Suite]
		if !known {
			i = len(groups)
			place[r.Suite] = i
			groups = append(groups, group{Suite: r.Suite})
		}
		groups[i].Results = append(groups[i].Results, r)
	}
	return groups
}

func rigLine(r record.Rig) string {
	if r.Kind == "" {
		return r.Name
	}
	return strings.TrimSpace(r.Name + " (" + r.Kind + ")")
}

func selectionLine(s record.Selection) string {
	var parts []string
	if len(s.Suites) > 0 {
		parts = append(parts, "suites "+strings.Join(s.Suites, ", "))
	}
	if len(s.Requirements) > 0 {
		parts = append(parts, "requirements "+strings.Join(s.Requirements, ", "))
	}
	line := "everything"
	if len(parts) > 0 {
		line = strings.Join(parts, "; ")
	}
	if s.Shards > 0 {
		line += fmt.Sprintf(", part %d of %d", s.Shard, s.Shards)
	}
	return line
}

// waiverWords says what a waiver makes of a result; nothing where there is none.
func waiverWords(r record.Result) string {
	w := r.Waived
	switch {
	case w == nil:
		return ""
	case w.Void != "":
		return "void: " + w.Void + " (owner: " + w.Owner + "; it was: " + w.Reason + ")"
	case w.Open:
		return "not put to the test, since the check came to nothing (owner: " + w.Owner + ", until " + w.Expires + ")"
	}
	return "waived until " + w.Expires + " by " + w.Owner + ": " + w.Reason
}

// linkLogs names the logs of the link, of each part where there are several.
func linkLogs(r *record.Record) string { return strings.Join(r.LinkLogs(), ", ") }
