package suites

import (
	"fmt"
	"slices"
	"strings"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
)

// Every part of a run judges by itself what is judged throughout a run. Merged, the worst of them stands.

// throughout reports whether a requirement is one of these.
func throughout(id string) bool {
	q, _ := catalogue.Find(id)
	return q.Throughout
}

// ofPart is the result of a part as it stands in the record of the whole: what it found says which part it is of, whose clock its times
// belong to, and its recordings have names of their own.
func (p Part) ofPart(r record.Result) record.Result {
	if !throughout(r.ID) || p.Record.Selection.Shards < 2 {
		return r
	}
	r.Failures, r.Notes = slices.Clone(r.Failures), slices.Clone(r.Notes)
	for i := range r.Failures {
		f := &r.Failures[i]
		f.What, f.Evidence = p.shard()+": "+f.What, p.evidence(r.ID, f.Evidence)
	}
	for i := range r.Notes {
		r.Notes[i] = p.shard() + ": " + r.Notes[i]
	}
	return r
}

// evidence is the name of a recording of the part in the directory of the whole.
func (p Part) evidence(id, name string) string {
	if name == "" || !throughout(id) || p.Record.Selection.Shards < 2 {
		return name
	}
	return strings.TrimSuffix(name, ".vcd.gz") + fmt.Sprintf("-part%d.vcd.gz", p.Record.Selection.Shard)
}

// joined is one result of two parts' results of the same requirement on the same track: the worse verdict, the measurements together, the
// failures of both. An inconclusive part takes nothing from the other's failure.
func joined(a, b record.Result) record.Result {
	if verdict.Worsen(a.Verdict, b.Verdict) != a.Verdict {
		a.Verdict, a.Reason = b.Verdict, b.Reason
	}
	a.Measurements = slices.Clone(a.Measurements)
	for _, m := range b.Measurements {
		i := slices.IndexFunc(a.Measurements, func(o verdict.Measurement) bool { return o.Name == m.Name })
		if i < 0 {
			a.Measurements = append(a.Measurements, m)
			continue
		}
		a.Measurements[i] = both(a.Measurements[i], m)
	}
	a.Failures = append(slices.Clone(a.Failures), b.Failures...)
	a.Notes = append(slices.Clone(a.Notes), b.Notes...)
	a.End += b.End - b.Start
	a.WallTime += b.WallTime
	return a
}

// both are two measurements of one quantity as one: the worst case is the worse of the two.
func both(a, b verdict.Measurement) verdict.Measurement {
	if a.Count == 0 || b.Count == 0 {
		if a.Count == 0 {
			a = b
		}
		return a
	}
	if tally(a) && tally(b) {
		sum := verdict.Single(a.Name, a.Unit, a.Value+b.Value, a.At, a.Limit, 0)
		if a.Value == 0 {
			sum.At = b.At
		}
		return sum
	}
	worse := a
	if b.Verdict > a.Verdict || b.Verdict == a.Verdict && b.Margin != nil && a.Margin != nil && *b.Margin < *a.Margin {
		worse = b
	}
	worse.Count = a.Count + b.Count
	worse.Min, worse.Max = min(a.Min, b.Min), max(a.Max, b.Max)
	worse.Mean = (a.Mean*float64(a.Count) + b.Mean*float64(b.Count)) / float64(worse.Count)
	return worse
}

// tally reports whether a measurement is how many there were of what should not be, rather than a spread of numbers: the whole has as many as
// its parts together.
func tally(m verdict.Measurement) bool {
	return m.Unit == verdict.Count && m.Count == 1 && m.Limit.Min == nil
}
