package suites

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"bufferstop/harness/record"
)

// belongTogether finds out whether sorted records are all the parts of one run: each says which part it is, they are of the
// same station, rig, and selection, made by this version, and none is missing or there twice.
func belongTogether(parts []Part, version string) error {
	if len(parts) == 0 {
		return errNoParts
	}
	for _, p := range parts {
		s := p.Record.Selection
		switch {
		case s.Shard == 0 && s.Shards == 0:
			return &MergeError{What: "no part of a run", File: p.file(), Got: "the record of a whole run", Want: "one of run --shard I/N",
				Hint: "merge the directories of all the parts, and nothing else"}
		case s.Shard < 1 || s.Shard > s.Shards || s.Shards > MaxShards:
			return &MergeError{What: "damaged record: which part it is", File: p.file(), Got: p.shard(),
				Want: fmt.Sprintf("part I of N, 1 <= I <= N <= %d", MaxShards), Hint: "run the part again"}
		}
	}
	if got := parts[0].Record.Tool.Version; got != version {
		return &MergeError{What: "a record of another version of bufferstop", File: parts[0].file(), Got: fmt.Sprintf("%+.100q", got),
			Want: fmt.Sprintf("%q", version), Hint: "merge with the program that has run the parts"}
	}
	for _, p := range parts[1:] {
		if err := sameRun(parts[0], p); err != nil {
			return err
		}
	}
	var there []string
	missing := 0
	for i, p := range parts {
		shard := p.Record.Selection.Shard
		if i > 0 && shard == parts[i-1].Record.Selection.Shard {
			return &MergeError{What: "a part is there twice", File: parts[i-1].file() + " and " + p.file(), Got: p.shard() + " in both",
				Want: "each part once", Hint: "leave one of them out"}
		}
		if missing == 0 && shard != i+1 {
			missing = i + 1
		}
		there = append(there, fmt.Sprint(shard))
	}
	all := parts[0].Record.Selection.Shards
	if missing == 0 && len(parts) < all {
		missing = len(parts) + 1
	}
	if missing > 0 {
		files := make([]string, len(parts))
		for i, p := range parts {
			files[i] = p.file()
		}
		return &MergeError{What: "a part is missing", File: strings.Join(files, ", "),
			Got:  fmt.Sprintf("part %s of %d", strings.Join(there, ", "), all),
			Want: fmt.Sprintf("part %d as well", missing),
			Hint: fmt.Sprintf("run it with the same flags and --shard %d/%d, or name its directory", missing, all)}
	}
	return nil
}

// A trait is one thing in which all parts of a run agree, by its name in record.json; the value is JSON.
type trait struct{ name, value string }

// sameRun finds the first trait in which a part differs from the first part.
func sameRun(first, p Part) error {
	want, got := traits(first.Record), traits(p.Record)
	wanted, gotten := map[string]string{}, map[string]string{}
	for _, t := range want {
		wanted[t.name] = t.value
	}
	for _, t := range got {
		gotten[t.name] = t.value
	}
	for _, t := range append(want, got...) { // the second half has what the first part lacks
		w, g := wanted[t.name], gotten[t.name]
		if w == g {
			continue
		}
		w, g = difference(w, g)
		return &MergeError{What: "the parts are not of one run: " + t.name, File: p.file(), Got: g, Want: w + " as in " + first.file(),
			Hint: "run all parts with the same flags, files and build"}
	}
	return nil
}

// difference shows two texts that differ, cut to where they do. Both are ASCII.
func difference(a, b string) (string, string) {
	const enough, before = 80, 20
	same := 0
	for same < min(len(a), len(b)) && a[same] == b[same] {
		same++
	}
	cut := func(text string) string {
		if text == "" {
			return "nothing"
		}
		if len(text) <= enough {
			return text
		}
		from := max(0, min(same-before, len(text)-enough))
		shown := text[from:min(len(text), from+enough)]
		if from > 0 {
			shown = "..." + shown
		}
		if from+enough < len(text) {
			shown += "..."
		}
		return shown
	}
	return cut(a), cut(b)
}

// traits lists what the parts of one run have in common. The path of the image is not among it, since the same build may
// lie elsewhere on another machine; its hash is.
func traits(r *record.Record) []trait {
	build, selection := r.Build, r.Selection
	build.Image, selection.Shard = "", 0
	var all []trait
	for _, section := range []struct {
		name  string
		value any
	}{
		{"tool.version", r.Tool.Version}, {"selection", selection}, {"build", build}, {"rig", r.Rig}, {"station", r.Station},
		{"defect", r.Defect}, {"waivers", r.Waivers},
	} {
		// What was read from JSON can be written as JSON.
		data, err := json.Marshal(section.value)
		var value any
		if err == nil {
			err = json.Unmarshal(data, &value)
		}
		if err != nil {
			value = err.Error()
		}
		all = flatten(all, section.name, value, 0)
	}
	return all
}

// flatten adds the traits of a JSON value, tables under their own names. What lies deeper than station files go is one
// trait.
func flatten(all []trait, name string, value any, depth int) []trait {
	const deepest = 5
	if table, is := value.(map[string]any); is && depth < deepest {
		for _, key := range slices.Sorted(maps.Keys(table)) {
			all = flatten(all, name+"."+strings.Trim(fmt.Sprintf("%+.60q", key), `"`), table[key], depth+1)
		}
		return all
	}
	if text, is := value.(string); is {
		return append(all, trait{name, fmt.Sprintf("%+q", text)})
	}
	data, err := json.Marshal(value)
	if err != nil {
		data = []byte(err.Error())
	}
	return append(all, trait{name, strings.Trim(fmt.Sprintf("%+q", data), `"`)})
}
