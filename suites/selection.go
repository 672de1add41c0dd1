package suites

import (
	"fmt"
	"slices"
	"strings"

	"bufferstop/harness/station"
	"bufferstop/suites/catalogue"
)

// A Selection says which requirements to check. With both lists empty it is all of them.
type Selection struct {
	Suites       []string // names of suites
	Requirements []string // ids, such as SIG-001
	// Shard and Shards choose part Shard of Shards of what the lists choose, counted from 1 to MaxShards at most; both are
	// zero for the whole. The parts of a selection have each requirement in exactly one of them, but for those that are judged
	// throughout a run, which each has, and take about the same time, so that they can be run at the same time on rigs of their own; Merge makes one record of theirs.
	Shard, Shards int
}

// A SelectionError says that a selection names something that is not there, or selects nothing. It is the user's to mend.
type SelectionError struct {
	What string   // "suite" or "requirement"
	Got  string   // empty when the selection as a whole is empty
	Want []string // what there is
}

func (e *SelectionError) Error() string {
	if e.Got == "" {
		return "the selection leaves no requirement to check"
	}
	return fmt.Sprintf("%s %q is not known: wanted one of %s", e.What, e.Got, strings.Join(e.Want, ", "))
}

// Chosen returns the requirements that the selection names, in the order of the catalogue. The error is a *SelectionError
// or a *ShardError.
func (s Selection) Chosen() ([]catalogue.Requirement, error) {
	all := catalogue.All()
	var ids []string
	for _, r := range all {
		ids = append(ids, r.ID)
	}
	for _, name := range s.Suites {
		if !slices.Contains(catalogue.Suites(), name) {
			return nil, &SelectionError{What: "suite", Got: name, Want: catalogue.Suites()}
		}
	}
	for _, id := range s.Requirements {
		if !slices.Contains(ids, id) {
			return nil, &SelectionError{What: "requirement", Got: id, Want: ids}
		}
	}
	var chosen []catalogue.Requirement
	for _, r := range all {
		inSuite := len(s.Suites) == 0 || slices.Contains(s.Suites, r.Suite)
		named := len(s.Requirements) == 0 || slices.Contains(s.Requirements, r.ID)
		if inSuite && named {
			chosen = append(chosen, r)
		}
	}
	if len(chosen) == 0 {
		return nil, &SelectionError{}
	}
	return s.part(chosen)
}

func tracksOf(r catalogue.Requirement) []station.Track {
	var tracks []station.Track
	for _, t := range r.Tracks {
		tracks = append(tracks, station.Track(t))
	}
	return tracks
}
