package suites

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"bufferstop/suites/catalogue"
)

// MaxShards is the greatest number of parts into which a run can be divided. Our own choice: more than there are
// requirements is of no use.
const MaxShards = 64

// A ShardError says that a selection has no such part. It is the user's to mend.
type ShardError struct {
	Shard, Shards int
	Parts         int // into how many parts the selection divides at most; 0 when Shard and Shards are no part of anything
}

func (e *ShardError) Error() string {
	if e.Parts > 0 {
		return fmt.Sprintf("part %d of %d has no requirement: the selection divides into %d at most", e.Shard, e.Shards, e.Parts)
	}
	return fmt.Sprintf("part %d of %d: wanted part I of N, 1 <= I <= N <= %d", e.Shard, e.Shards, MaxShards)
}

// A bundle is requirements that are checked in one run, because they look at the same exercises.
type bundle struct {
	first        int // place of the first of them
	requirements []int
	exercises    []string
	takes        time.Duration
}

// bundles puts requirements together that share an exercise, directly or through others.
func bundles(chosen []catalogue.Requirement) []bundle {
	var all []bundle
	for place, r := range chosen {
		joined := bundle{first: place, requirements: []int{place}, exercises: slices.Clone(r.Exercises), takes: r.Time()}
		apart := all[:0:0]
		for _, b := range all {
			if !slices.ContainsFunc(b.exercises, func(name string) bool { return slices.Contains(r.Exercises, name) }) {
				apart = append(apart, b)
				continue
			}
			joined.first = min(joined.first, b.first)
			joined.requirements = append(joined.requirements, b.requirements...)
			joined.exercises = append(joined.exercises, b.exercises...)
			joined.takes += b.takes
		}
		all = append(apart, joined)
	}
	for i := range all {
		b := &all[i]
		slices.Sort(b.exercises)
		b.exercises = slices.Compact(b.exercises)
		for _, name := range b.exercises {
			e, _ := catalogue.FindExercise(name) // checked when the catalogue was loaded
			b.takes += e.Time()
		}
	}
	return all
}

// divide divides requirements into n parts that take about the same time: the longest bundle first, each to the part that
// has the least to do so far. Equals go by the order of the catalogue, so the same requirements are always divided the same
// way. In a part they are in the order of the catalogue. No part is empty unless there are fewer bundles than parts.
func divide(chosen []catalogue.Requirement, n int) [][]catalogue.Requirement {
	todo := bundles(chosen)
	slices.SortFunc(todo, func(a, b bundle) int {
		return cmp.Or(cmp.Compare(b.takes, a.takes), cmp.Compare(a.first, b.first))
	})
	places := make([][]int, n)
	busy := make([]time.Duration, n)
	for _, b := range todo {
		least := slices.Index(busy, slices.Min(busy))
		busy[least] += b.takes
		places[least] = append(places[least], b.requirements...)
	}
	parts := make([][]catalogue.Requirement, n)
	for i := range parts {
		slices.Sort(places[i])
		for _, place := range places[i] {
			parts[i] = append(parts[i], chosen[place])
		}
	}
	return parts
}

// part returns the requirements of the selection's part of those that its names choose. The error is a *ShardError.
func (s Selection) part(chosen []catalogue.Requirement) ([]catalogue.Requirement, error) {
	if s.Shards == 0 && s.Shard == 0 {
		return chosen, nil
	}
	if s.Shard < 1 || s.Shard > s.Shards || s.Shards > MaxShards {
		return nil, &ShardError{Shard: s.Shard, Shards: s.Shards}
	}
	divided, everywhere := apart(chosen)
	part := divide(divided, s.Shards)[s.Shard-1]
	if len(part) == 0 {
		return nil, &ShardError{Shard: s.Shard, Shards: s.Shards, Parts: len(bundles(divided))}
	}
	return slices.DeleteFunc(slices.Clone(chosen), func(r catalogue.Requirement) bool {
		return !holds(part, r) && !holds(everywhere, r)
	}), nil
}

// apart tells requirements that are divided among the parts of a run from those that each part judges by what it heard itself. Of a
// selection that has only such, all are divided: there is nothing else to hear.
func apart(chosen []catalogue.Requirement) (divided, everywhere []catalogue.Requirement) {
	for _, r := range chosen {
		if r.Throughout {
			everywhere = append(everywhere, r)
		} else {
			divided = append(divided, r)
		}
	}
	if len(divided) == 0 {
		return chosen, nil
	}
	return divided, everywhere
}

func holds(all []catalogue.Requirement, r catalogue.Requirement) bool {
	return slices.ContainsFunc(all, func(o catalogue.Requirement) bool { return o.ID == r.ID })
}
