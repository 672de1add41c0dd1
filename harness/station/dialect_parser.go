package station

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
)

// dialectParser checks a dialect file and turns it into a Dialect.
type dialectParser struct {
	*document
	file *dialectFile
	d    *Dialect
	// lists are the shared answers, by name.
	lists map[string][]answer
}

func (p *dialectParser) dialect() *Dialect {
	f := p.file
	p.d = &Dialect{
		name:      f.Name,
		end:       p.lineEnd("line.end", f.Line.End, defaultLineEnd),
		lineLimit: p.between("line.limit", f.Line.Limit, 1, 1<<20, defaultLineLimit),
		window:    p.between("line.window", f.Line.Window, 1, 1024, defaultWindow),
		write:     p.positive("time.write", f.Time.Write, defaultWrite),
		busyPause: p.positive("time.busy_pause", f.Time.BusyPause, defaultBusyPause),
		quiet:     p.positive("time.quiet", f.Time.Quiet, defaultQuiet),
		firstLong: p.between("address.first_long", f.Address.FirstLong, 0, 10240, defaultFirstLong),
	}
	p.d.answerEnd = p.lineEnd("line.answer_end", f.Line.AnswerEnd, p.d.end)
	if f.Name == "" {
		p.fail("name", "no name", `a name, as in name = "my station"`, "")
	}
	p.words()
	p.sharedAnswers()
	p.events()
	p.resynchronise()
	p.operations(p.positive("time.answer", f.Time.Answer, defaultAnswer))
	return p.d
}

func (p *dialectParser) lineEnd(path string, end *string, otherwise string) string {
	if end == nil {
		return otherwise
	}
	if *end == "" || len(*end) > 8 {
		p.fail(path, quote(*end), "1 to 8 bytes", `"\n", "\r" and "\r\n" are usual`)
		return otherwise
	}
	return *end
}

// words reads the tables of words, and turns round those that answers use.
func (p *dialectParser) words() {
	p.d.words = map[valueName]map[string]string{}
	p.d.meanings = map[valueName]map[string]string{}
	for _, table := range slices.Sorted(maps.Keys(p.file.Words)) {
		path := "words." + table
		name := valueName(table)
		v, known := vocabularies[name]
		if !known && !slices.Contains(takesWords, name) {
			p.fail(path, quote(table), "one of "+wordTables(), "")
			continue
		}
		words := p.file.Words[table]
		meanings := map[string]string{}
		for _, text := range slices.Sorted(maps.Keys(words)) {
			if known && !slices.Contains(v.may, text) {
				p.fail(path+"."+text, quote(text), "one of "+strings.Join(v.may, ", "), "the harness's text stands left, the station's word right")
			}
			if other, taken := meanings[words[text]]; taken && name != method {
				p.fail(path+"."+text, quote(words[text]), "another word than that of "+other, "")
			}
			meanings[words[text]] = text
		}
		for _, text := range v.must {
			if _, ok := words[text]; !ok {
				p.fail(path, "no word for "+text, "a word for each of "+strings.Join(v.must, ", "), "")
			}
		}
		p.d.words[name] = words
		p.d.meanings[name] = meanings
	}
}

func wordTables() string {
	var all []string
	for name := range vocabularies {
		all = append(all, string(name))
	}
	for _, name := range takesWords {
		all = append(all, string(name))
	}
	slices.Sort(all)
	return strings.Join(all, ", ")
}

func (p *dialectParser) sharedAnswers() {
	p.lists = map[string][]answer{}
	for _, list := range slices.Sorted(maps.Keys(p.file.Answers)) {
		p.lists[list] = p.answers("answers."+list, p.file.Answers[list])
	}
}

// never matches nothing at all.
var never = regexp.MustCompile(`[^\x00-\x{10FFFF}]`)

// groups that a pattern may name.
var (
	answerGroups   = []string{"value", "code", "text"}
	identityGroups = []string{"maker", "model", "serial", "version"}
)

func (p *dialectParser) answers(path string, files []answerFile) []answer {
	var all []answer
	for i, f := range files {
		at := fmt.Sprintf("%s[%d]", path, i)
		means := []Means{MeansDone, MeansValue, MeansRefused, MeansNoAcknowledge, MeansTripped, MeansBusy, MeansEvent}
		if !slices.Contains(means, Means(f.Means)) {
			p.fail(at+".means", quote(f.Means), fmt.Sprintf("one of %q", means), "")
		}
		a := answer{means: Means(f.Means), value: f.Value}
		a.pattern = p.pattern(at+".pattern", f.Pattern, slices.Concat(answerGroups, identityGroups))
		if f.Value != nil && a.means != MeansValue {
			p.fail(at+".value", quote(*f.Value), `no value, or means = "value"`, "")
		}
		if a.pattern == nil {
			a.pattern = never // told already; that it never matches is no second problem
		}
		all = append(all, a)
	}
	return all
}

// pattern compiles a pattern so that it has to match the whole line.
func (p *dialectParser) pattern(path, text string, groups []string) *regexp.Regexp {
	if text == "" {
		p.fail(path, "no pattern", "a pattern for the whole line, in RE2 syntax", "")
		return nil
	}
	// Compiled by itself first: "a)|(b" would be fine inside the brackets.
	if _, err := regexp.Compile(text); err != nil {
		p.fail(path, quote(text), "a pattern in RE2 syntax", err.Error())
		return nil
	}
	pattern, err := regexp.Compile(`\A(?:` + text + `)\z`)
	if err != nil {
		p.fail(path, quote(text), "a pattern in RE2 syntax", err.Error())
		return nil
	}
	for _, group := range pattern.SubexpNames() {
		if group != "" && !slices.Contains(groups, group) {
			p.fail(path, "a group named "+quote(group), "groups named "+strings.Join(groups, ", "), "(?:...) groups without a name")
		}
	}
	return pattern
}

func (p *dialectParser) events() {
	for i, f := range p.file.Event {
		at := fmt.Sprintf("event[%d]", i)
		if f.Name == "" {
			p.fail(at+".name", "no name", "a name for the event, for reports", "")
		}
		if pattern := p.pattern(at+".pattern", f.Pattern, answerGroups); pattern != nil {
			p.d.events = append(p.d.events, answer{means: MeansEvent, name: f.Name, pattern: pattern})
		}
	}
}

func (p *dialectParser) resynchronise() {
	f := p.file.Resynchronise
	if f == nil {
		return
	}
	if f.Send == "" {
		p.fail("resynchronise.send", "nothing", "a harmless query", "a query whose answer looks like no other answer")
	}
	pattern := p.pattern("resynchronise.pattern", f.Pattern, slices.Concat(answerGroups, identityGroups))
	p.d.inStep = &inStep{send: f.Send, pattern: pattern, timeout: p.positive("resynchronise.timeout", f.Timeout, defaultAnswer)}
}
