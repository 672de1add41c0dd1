package suites

import (
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/waiver"
)

// A Part is the record of one part of a run, as Selection divides it, and the directory that it was read from.
type Part struct {
	Directory string
	Record    *record.Record
}

// file is how messages name the part.
func (p Part) file() string { return filepath.Join(p.Directory, record.FileName) }

// shard words which part it is.
func (p Part) shard() string {
	return fmt.Sprintf("part %d of %d", p.Record.Selection.Shard, p.Record.Selection.Shards)
}

// A MergeError says why records do not make one: what is wrong, in which file, what was there, what was wanted, and what to
// do about it. It is the user's to mend.
type MergeError struct{ What, File, Got, Want, Hint string }

func (e *MergeError) Error() string {
	return fmt.Sprintf("%s, %s: got %s, wanted %s", e.What, e.File, e.Got, e.Want)
}

// A Merged is the record that was made of the parts of a run, and the files that go with it.
type Merged struct {
	Record *record.Record
	files  []keptFile
}

// Merge makes the record of the whole run of those of its parts, in any order: every result in the order of the catalogue,
// the outcome concluded anew, the rig time that of all parts together, the wall time that of the longest. It reads records
// as they come, from anywhere; version is the tool's own, and has to be that of the records, because it is by its catalogue
// that they are put together. The records are not to be used afterwards. Errors are *MergeError.
func Merge(parts []Part, version string) (*Merged, error) {
	parts = slices.Clone(parts)
	slices.SortStableFunc(parts, func(a, b Part) int {
		return cmp.Or(cmp.Compare(a.Record.Selection.Shard, b.Record.Selection.Shard), strings.Compare(a.Directory, b.Directory))
	})
	if err := belongTogether(parts, version); err != nil {
		return nil, err
	}
	results := map[string]record.Result{}
	for _, p := range parts {
		if err := p.check(); err != nil {
			return nil, err
		}
		for _, r := range p.Record.Results {
			r = p.ofPart(r)
			if former, had := results[r.Name()]; had {
				r = joined(former, r)
			}
			results[r.Name()] = r
		}
	}
	first := parts[0].Record
	selection := Selection{Suites: first.Selection.Suites, Requirements: first.Selection.Requirements}
	chosen, err := selection.Chosen()
	if err != nil {
		return nil, parts[0].damaged("the selection", err.Error(), "what the catalogue has")
	}
	run := &record.Record{
		Schema: record.Schema, Tool: first.Tool, Started: first.Started,
		Build: first.Build, Rig: first.Rig, Station: first.Station, Defect: first.Defect, Waivers: first.Waivers,
		Selection: record.Selection{Suites: selection.Suites, Requirements: selection.Requirements},
	}
	for _, name := range names(chosen) {
		run.Results = append(run.Results, results[name])
	}
	merged := &Merged{Record: run}
	merged.gather(parts)
	return merged, nil
}

// gather puts into the record what is not results, and concludes it.
func (m *Merged) gather(parts []Part) {
	run := m.Record
	var repeats, ended []string
	var rigTime, wallTime time.Duration
	interrupted := false
	for _, p := range parts {
		r := p.Record
		if r.Started.Before(run.Started) {
			run.Started = r.Started
		}
		rigTime, wallTime = rigTime+r.RigTime, max(wallTime, r.WallTime)
		interrupted = interrupted || r.Outcome == verdict.Interrupted
		repeats = append(repeats, strings.TrimSuffix(r.Repeat, fmt.Sprintf(" --shard %d/%d", r.Selection.Shard, r.Selection.Shards)))
		if r.EndedEarly != "" {
			ended = append(ended, p.shard()+": "+r.EndedEarly)
		}
		for _, note := range r.Notes {
			run.Notes = append(run.Notes, p.shard()+": "+note)
		}
		if r.Tool != run.Tool {
			run.Notes = append(run.Notes, fmt.Sprintf("%s was run on %s %s (%s)", p.shard(), r.Tool.OS, r.Tool.Arch, r.Tool.Go))
		}
		run.Histograms = append(run.Histograms, r.Histograms...)
		run.Waveforms = append(run.Waveforms, r.Waveforms...)
		run.Parts = append(run.Parts, record.PartOfRun{Started: r.Started, Repeat: r.Repeat, RigTime: r.RigTime, WallTime: r.WallTime,
			LinkLog: m.keep(p), Requirements: idsOf(r.Results)})
	}
	run.EndedEarly = strings.Join(ended, "; ")
	// The parts may have been reached in different ways, as by --link; then it takes them all to do the run again.
	run.Repeat = repeats[0]
	if len(slices.Compact(slices.Clone(repeats))) > 1 {
		repeats = repeats[:0]
		for _, p := range run.Parts {
			repeats = append(repeats, p.Repeat)
		}
		run.Repeat = strings.Join(repeats, "; ")
	}
	waiver.Apply(run)
	run.Conclude(rigTime, wallTime, interrupted)
}

// names lists the names of the results of requirements, in their order.
func names(requirements []catalogue.Requirement) []string {
	var all []string
	for _, q := range requirements {
		for _, track := range q.Tracks {
			all = append(all, record.Result{ID: q.ID, Track: track}.Name())
		}
	}
	return all
}

func idsOf(results []record.Result) []string {
	ids := []string{}
	for _, r := range results {
		ids = append(ids, r.ID)
	}
	return slices.Compact(ids)
}

// damaged is the error of a record in which something is not as a run writes it.
func (p Part) damaged(what, got, want string) error {
	return &MergeError{What: "damaged record: " + what, File: p.file(), Got: got, Want: want,
		Hint: "run " + p.shard() + " again, and leave the files as they are"}
}

// editions are the editions that the station of the part claims.
func (p Part) editions() (map[string]string, error) {
	claimed, _ := p.Record.Station.Claims["editions"].(map[string]any)
	editions := map[string]string{}
	for topic, value := range claimed {
		t, known := catalogue.FindTopic(topic)
		name, _ := value.(string)
		if _, has := t.Find(name); !known || !has {
			return nil, p.damaged("station.claims.editions", fmt.Sprintf("%+.60q = %+.60q", topic, fmt.Sprint(value)), "a topic and an edition that the catalogue has")
		}
		editions[topic] = name
	}
	return editions, nil
}

// longest is more than any run takes; sums of fewer than MaxShards of it do not overflow. Our own choice.
const longest = 366 * 24 * time.Hour

// evidenceName is the form of the names that keepEvidence gives.
var evidenceName = regexp.MustCompile(`^` + evidenceFolder + `/[A-Z]{3,4}-[0-9]{3}-[a-z]+(-[0-9]+)?\.vcd\.gz$`)

// check looks at what Merge relies on and what Read cannot know: that the record has the results of its part, each once,
// and names no file but its own.
func (p Part) check() error {
	r := p.Record
	s := r.Selection
	chosen, err := Selection{Suites: s.Suites, Requirements: s.Requirements, Shard: s.Shard, Shards: s.Shards}.Chosen()
	if err != nil {
		return p.damaged("the selection", fmt.Sprintf("%+q", err.Error()), "one that chooses something")
	}
	want, got := names(chosen), []string{}
	for _, result := range r.Results {
		got = append(got, result.Name())
	}
	for i := range max(len(want), len(got)) {
		if i < len(want) && i < len(got) && want[i] == got[i] {
			continue
		}
		return p.damaged(fmt.Sprintf("result %d", i+1), nth(got, i), nth(want, i))
	}
	editions, err := p.editions()
	if err != nil {
		return err
	}
	for _, result := range r.Results {
		q, _ := catalogue.Find(result.ID)
		if level := q.LevelBy(editions); result.Level != level || result.Suite != q.Suite {
			return p.damaged("the level and suite of "+result.Name(), fmt.Sprintf("%+.60q, %+.60q", result.Level, result.Suite),
				fmt.Sprintf("%q, %q", level, q.Suite))
		}
		if result.Verdict == verdict.Unmeasured {
			return p.damaged("the verdict of "+result.Name(), "none", "one")
		}
		for _, f := range result.Failures {
			if f.Evidence == "" {
				continue
			}
			own := evidenceFolder + "/" + strings.ReplaceAll(result.Name(), " ", "-")
			if !strings.HasPrefix(f.Evidence, own) || !evidenceName.MatchString(f.Evidence) {
				return p.damaged("the evidence of "+result.Name(), fmt.Sprintf("%+.100q", f.Evidence), own+".vcd.gz")
			}
		}
	}
	if r.LinkLog != "" && r.LinkLog != evidenceFolder+"/"+linkLog {
		return p.damaged("the log of the link", fmt.Sprintf("%+.100q", r.LinkLog), evidenceFolder+"/"+linkLog)
	}
	for _, took := range []time.Duration{r.RigTime, r.WallTime} {
		if took < 0 || took > longest {
			return p.damaged("how long it took", took.String(), "a time of 0 to a year")
		}
	}
	if err := waiver.Check(r.Waivers); err != nil {
		return p.damaged("the waivers", fmt.Sprintf("%+.100q", err.Error()), "those of a file that run --waivers takes")
	}
	if r.Outcome == "" {
		return p.damaged("the outcome", "none", "one")
	}
	return nil
}

// nth quotes the name at a place, if there is one.
func nth(names []string, i int) string {
	if i < len(names) {
		return fmt.Sprintf("%+.60q", names[i])
	}
	return "none"
}

var errNoParts = errors.New("merge: no parts")
