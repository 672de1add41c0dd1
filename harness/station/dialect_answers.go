package station

import (
	"fmt"
	"maps"
	"regexp"
	"slices"

	"bufferstop/harness/written"
)

func (p *dialectParser) sharedAnswers() {
	p.lists = map[string][]answer{}
	for _, list := range slices.Sorted(maps.Keys(p.file.Answers)) {
		p.lists[list] = p.answers("answers."+list, p.file.Answers[list])
	}
	p.d.lists = p.lists
}

// never matches nothing at all.
var never = regexp.MustCompile(`[^\x00-\x{10FFFF}]`)

// groups that a pattern may name.
var (
	answerGroups   = []string{"value", "code", "text"}
	identityGroups = []string{"maker", "model", "serial", "version"}
	allGroups      = slices.Concat(answerGroups, identityGroups)
)

var allMeanings = []Means{MeansDone, MeansValue, MeansRefused, MeansNoAcknowledge, MeansTripped, MeansBusy, MeansEvent, MeansPart}

// maxAnswers bounds a list of answers, and the events: a review compares each with all others. Our own choice.
const maxAnswers = 64

// few sees that a list is not too long.
func (p *dialectParser) few(path string, n int) bool {
	if n > maxAnswers {
		p.Fail(path, fmt.Sprintf("%d patterns", n), fmt.Sprintf("at most %d", maxAnswers), "one pattern can hold several answers: a|b")
	}
	return n <= maxAnswers
}

func (p *dialectParser) answers(path string, files []answerFile) []answer {
	var all []answer
	if !p.few(path, len(files)) {
		return nil
	}
	for i, f := range files {
		at := fmt.Sprintf("%s[%d]", path, i)
		if !slices.Contains(allMeanings, Means(f.Means)) {
			p.Fail(at+".means", written.Quote(f.Means), fmt.Sprintf("one of %q", allMeanings), "")
		}
		a := answer{means: Means(f.Means), value: f.Value, path: at}
		a.pattern = p.pattern(at+".pattern", f.Pattern, allGroups)
		if f.Value != nil && a.means != MeansValue {
			p.Fail(at+".value", written.Quote(*f.Value), `no value, or means = "value"`, "")
		}
		a.formats = p.formats(at+".formats", f.Formats)
		a.say = p.say(at+".say", f.Say)
		if a.pattern == nil {
			a.pattern = never // told already; that it never matches is no second problem
		}
		all = append(all, a)
	}
	return all
}

// pattern compiles a pattern so that it has to match the whole message.
func (p *dialectParser) pattern(path, text string, groups []string) *regexp.Regexp {
	if text == "" {
		p.Fail(path, "no pattern", "a pattern for the whole message, in RE2 syntax", "")
		return nil
	}
	// Compiled by itself first: "a)|(b" would be fine inside the brackets.
	if _, err := regexp.Compile(text); err != nil {
		p.Fail(path, written.Quote(text), "a pattern in RE2 syntax", err.Error())
		return nil
	}
	pattern, err := regexp.Compile(`\A(?:` + text + `)\z`)
	if err != nil {
		p.Fail(path, written.Quote(text), "a pattern in RE2 syntax", err.Error())
		return nil
	}
	for _, group := range pattern.SubexpNames() {
		if group != "" && !slices.Contains(groups, group) {
			p.Fail(path, "a group named "+written.Quote(group), "groups named "+joined(groups), "(?:...) groups without a name")
		}
	}
	return pattern
}

// formats reads how the groups of an answer are written.
func (p *dialectParser) formats(path string, texts map[string]string) map[valueName]format {
	formats := map[valueName]format{}
	want := textFormats
	if p.d.binary {
		want = binaryFormats
	}
	for _, group := range slices.Sorted(maps.Keys(texts)) {
		f, ok := parseFormat(texts[group], p.d.binary)
		switch {
		case group != "value" && group != "code":
			p.Fail(path+"."+group, written.Quote(group), "value or code: the other groups are no numbers", "")
		case !ok:
			p.Fail(path+"."+group, written.Quote(texts[group]), want, "")
		default:
			formats[valueName(group)] = f
		}
	}
	return formats
}

func (p *dialectParser) events() {
	if !p.few("event", len(p.file.Event)) {
		return
	}
	for i, f := range p.file.Event {
		at := fmt.Sprintf("event[%d]", i)
		if f.Name == "" {
			p.Fail(at+".name", "no name", "a name for the event, for reports", "")
		}
		e := answer{means: MeansEvent, name: f.Name, restart: f.Restart, path: at, say: p.say(at+".say", f.Say)}
		if e.pattern = p.pattern(at+".pattern", f.Pattern, answerGroups); e.pattern != nil {
			p.sayMatches(e)
			p.d.events = append(p.d.events, e)
		}
	}
}
