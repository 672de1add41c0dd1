package station

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"bufferstop/harness/written"
)

// A Remark is something in a file that is legal and unwise.
type Remark struct {
	File         string
	Line, Column int // from 1; zero when the file as a whole is meant
	What         string
}

// String is one line: file:line:column: what.
func (r Remark) String() string {
	if r.Line == 0 {
		return r.File + ": " + r.What
	}
	return fmt.Sprintf("%s:%d:%d: %s", r.File, r.Line, r.Column, r.What)
}

// review collects remarks.
type review struct {
	d       *Dialect
	remarks []Remark
	answers map[string]bool // remarked on, by path: many operations share them
}

func (v *review) remark(path, format string, values ...any) {
	place := v.d.places.Problem(path, "", "", "")
	r := Remark{File: place.File, Line: place.Line, Column: place.Column, What: fmt.Sprintf(format, values...)}
	if !slices.Contains(v.remarks, r) {
		v.remarks = append(v.remarks, r)
	}
}

// Review says what in a dialect is legal and unwise, in the order of the file.
func (d *Dialect) Review() []Remark {
	v := &review{d: d, answers: map[string]bool{}}
	v.framing()
	v.step()
	v.times()
	v.unused()
	v.refusals()
	for _, o := range d.Operations() {
		v.operation(o, d.operations[o])
	}
	v.events()
	v.exercised()
	v.simulated()
	slices.SortStableFunc(v.remarks, func(a, b Remark) int {
		if (a.Line == 0) != (b.Line == 0) {
			return cmp.Compare(b.Line, a.Line)
		}
		return cmp.Compare(a.Line, b.Line)
	})
	return v.remarks
}

func (v *review) framing() {
	switch f := v.d.sends.(type) {
	case *frameFraming:
		if f.checksum == nil {
			v.remark("frame", "frames without a checksum: a byte that is damaged on its way is not noticed")
		}
	case *lineFraming:
		if v.d.gap > 0 && len(v.d.events) > 0 {
			v.remark("line.answer_gap", "a silence ends an answer, and there are events: one that comes right before an answer becomes part of it")
		}
	}
}

func (v *review) step() {
	q := v.d.inStep
	if q == nil {
		v.remark("", "no [resynchronise]: after a lost answer, a late one can be taken for that of the next operation")
		return
	}
	var first string
	also := map[string]bool{}
	for _, o := range v.d.Operations() {
		for _, a := range v.d.operations[o].answers {
			// The question may be the one of identify; its answer looks like that, then.
			if o == Identify && (a.means == MeansValue || a.means == MeansPart) {
				continue
			}
			for _, text := range v.d.samples(a) {
				if !q.pattern.MatchString(text) {
					continue
				}
				if first == "" {
					first = fmt.Sprintf("it matches %s, which also is an answer to %s that means %q", written.Quote(text), o, a.means)
				}
				also[a.path] = true
			}
		}
	}
	if first != "" {
		v.remark("resynchronise.pattern", "%s%s", first, andMore(len(also)-1, "other answers"))
	}
}

// andMore says that there are more of the same.
func andMore(n int, what string) string {
	if n <= 0 {
		return ""
	}
	return fmt.Sprintf(" (and %d %s)", n, what)
}

func (v *review) times() {
	var slowest Operation
	for _, o := range v.d.Operations() {
		if v.d.Timeout(o) > v.d.Timeout(slowest) {
			slowest = o
		}
	}
	timeout := v.d.Timeout(slowest)
	if q := v.d.inStep; q != nil && q.timeout < timeout {
		v.remark("resynchronise.timeout", "%v is shorter than the %v that the answer to %s may take: a station that is busy with it answers too late", q.timeout, timeout, slowest)
	}
	if k := v.d.keepAlive; k != nil && k.every < timeout {
		v.remark("keep_alive.every", "%v is shorter than the %v that the answer to %s may take: meanwhile nothing else is said", k.every, timeout, slowest)
	}
	if k := v.d.keepAlive; k != nil && k.timeout >= k.every {
		v.remark("keep_alive.timeout", "%v is no shorter than the %v after which the next is due", k.timeout, k.every)
	}
}

// exercised sees that every operation and event has an example.
func (v *review) exercised() {
	var operations []Operation
	for _, e := range v.d.examples {
		if e.command != nil && e.send != nil {
			operations = append(operations, e.command.operation)
		}
	}
	for _, o := range v.d.Operations() {
		if !slices.Contains(operations, o) {
			v.remark("operation."+string(o), "no [[example]] of %s with send", o)
		}
	}
	for _, e := range v.d.events {
		if !slices.ContainsFunc(v.d.examples, func(x example) bool { return x.means != nil && *x.means == string(MeansEvent)+" "+e.name }) {
			v.remark(e.path, "no [[example]] that means %q", string(MeansEvent)+" "+e.name)
		}
	}
}

// simulated says why there can be no simulated station of the dialect.
func (v *review) simulated() {
	_, err := NewResponder(v.d)
	if err == nil {
		return
	}
	problems := []error{err}
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		problems = many.Unwrap()
	}
	// What one shared list lacks, all operations lack.
	var kinds []string
	first := map[string]*FileError{}
	count := map[string]int{}
	for _, problem := range problems {
		if told, ok := problem.(*FileError); ok {
			if count[told.Got] == 0 {
				kinds, first[told.Got] = append(kinds, told.Got), told
			}
			count[told.Got]++
		}
	}
	for _, kind := range kinds {
		told := first[kind]
		v.remark(told.What, "no simulated station can speak it: got %s, want %s%s", told.Got, told.Want, andMore(count[kind]-1, "times more"))
	}
}

// unused looks for tables that nothing refers to.
func (v *review) unused() {
	words := map[valueName]bool{}
	fields := map[valueName]bool{}
	for _, o := range v.d.Operations() {
		words[wordsOf[operations[o].answers]] = true
		for _, p := range v.d.operations[o].template.parts {
			words[p.name] = words[p.name] || p.field == nil
			fields[p.name] = fields[p.name] || p.field != nil
		}
	}
	for _, name := range slices.Sorted(maps.Keys(v.d.words)) {
		if !words[name] {
			v.remark("words."+string(name), "no template or answer uses these words")
		}
	}
	for _, name := range slices.Sorted(maps.Keys(v.d.fields)) {
		if !fields[name] {
			v.remark("fields."+string(name), "no template uses this field")
		}
	}
	for _, list := range slices.Sorted(maps.Keys(v.d.lists)) {
		prefix := "answers." + list + "["
		if !slices.ContainsFunc(v.d.Operations(), func(o Operation) bool {
			return slices.ContainsFunc(v.d.operations[o].answers, func(a answer) bool { return strings.HasPrefix(a.path, prefix) })
		}) {
			v.remark("answers."+list, "no operation uses this list")
		}
	}
}
