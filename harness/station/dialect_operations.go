package station

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"bufferstop/harness/written"

	"periph.io/x/conn/v3/physic"
)

// common is the list of answers that an operation uses when it names none.
const common = "common"

func (p *dialectParser) operations(answerTime time.Duration) {
	p.d.operations = map[Operation]*request{}
	for _, name := range slices.Sorted(maps.Keys(p.file.Operation)) {
		path := "operation." + name
		def, known := operations[Operation(name)]
		if !known {
			p.Fail(path, written.Quote(name), fmt.Sprintf("one of %s", joined(Operations())), "operations that a station lacks are left out")
			continue
		}
		f := p.file.Operation[name]
		r := &request{timeout: p.Positive(path+".timeout", f.Timeout, answerTime)}
		p.template(path, name, f, def, r)
		p.unit(path, name, f, def, r)
		r.answers = append(p.answers(path+".answer", f.Answer), p.used(path, f)...)
		if !p.few(path, len(r.answers)) {
			r.answers = nil
			continue
		}
		p.complete(path, def, r)
		for _, a := range r.answers {
			p.sayMatches(a, p.d.sampleValues(Operation(name), r, &a)...)
		}
		p.d.operations[Operation(name)] = r
	}
	if len(p.file.Operation) == 0 {
		p.Fail("operation", "no operation", "at least one [operation.NAME]", "")
	}
}

// template reads what is sent, and sees that no value of the operation is forgotten.
func (p *dialectParser) template(path, name string, f operationFile, def definition, r *request) {
	if f.Send == "" {
		p.Fail(path+".send", "nothing", "what is sent for "+name, "")
		return
	}
	have := "no values"
	if len(def.values) > 0 {
		have = "values out of {" + joined(def.values, "}, {") + "}"
	}
	t, err := parseTemplate(f.Send, p.d.binary, slices.Concat(def.values, slices.Sorted(maps.Keys(p.d.fields))))
	if err != nil {
		p.Fail(path+".send", err.Error(), have, p.templateHint())
		return
	}
	p.oneLine(path+".send", f.Send)
	p.places(path+".send", have, &t, def)
	least, most := p.d.payload(t)
	p.fits(path+".send", least, most)
	r.template = t
	r.fixed = map[valueName]string{}
	for _, key := range slices.Sorted(maps.Keys(f.Fixed)) {
		at := path + ".fixed." + key
		v := valueName(key)
		switch {
		case !slices.Contains(def.values, v):
			p.Fail(at, written.Quote(key), have, "")
		case r.uses(v):
			p.Fail(at, "{"+key+"} in send as well", "a value that is fixed or in the template, not both", "")
		default:
			if vocabulary := vocabularies[v]; vocabulary.may != nil && !slices.Contains(vocabulary.may, f.Fixed[key]) {
				p.Fail(at, written.Quote(f.Fixed[key]), "one of "+strings.Join(vocabulary.may, ", "), "")
			}
			r.fixed[v] = f.Fixed[key]
		}
	}
	for _, v := range def.values {
		_, fixed := r.fixed[v]
		if t.uses(v) {
			if _, needs := vocabularies[v]; needs && p.d.words[v] == nil {
				p.Fail(path+".send", fmt.Sprintf("{%s} and no [words.%s]", v, v), fmt.Sprintf("words for %s", strings.Join(vocabularies[v].may, ", ")),
					fmt.Sprintf("[words.%s] %s = \"...\"", v, vocabularies[v].may[0]))
			}
		} else if !fixed && !r.uses(v) && v != kind && v != method {
			p.Fail(path+".send", fmt.Sprintf("no {%s}", v), "every value of the operation", fmt.Sprintf("if the station knows only one: fixed = { %s = \"...\" }", v))
		}
	}
}

// places finds the fields among the places of a template.
func (p *dialectParser) places(path, have string, t *template, def definition) {
	for i := range t.parts {
		place := &t.parts[i]
		f, isField := p.d.fields[place.name]
		switch {
		case place.name == "":
		case isField && f == nil:
			// What is wrong with the field has been told.
		case isField:
			place.field = f
			for _, v := range f.from {
				if !slices.Contains(def.values, v) {
					p.Fail(path, fmt.Sprintf("{%s}, which is computed from {%s}", f.name, v), have, "")
				}
			}
			if place.format != (format{}) && !f.number() {
				p.Fail(path, fmt.Sprintf("{%s}, which is a text", f.name), "a field that is a number: it has a format", "")
			}
		case p.d.words[place.name] != nil && place.format.text != "":
			p.Fail(path, fmt.Sprintf("{%s:%s} and [words.%s]", place.name, place.format.text, place.name), "a format or words, not both", "")
		}
	}
}

func (p *dialectParser) templateHint() string {
	if p.d.binary {
		return binaryFormats
	}
	return "a brace that is meant is written twice; " + textFormats
}

func (p *dialectParser) unit(path, name string, f operationFile, def definition, r *request) {
	r.unit = physic.MilliAmpere
	if f.Unit == nil {
		return
	}
	if def.answers != amount {
		p.Fail(path+".unit", written.Quote(*f.Unit), "no unit: "+name+" brings back no quantity", "")
		return
	}
	if err := r.unit.Set(*f.Unit); err != nil || r.unit <= 0 {
		p.Fail(path+".unit", written.Quote(*f.Unit), `a current above zero, as in "1mA"`, "")
	}
}

func (p *dialectParser) used(path string, f operationFile) []answer {
	if f.Use == nil {
		return p.lists[common]
	}
	var all []answer
	for i, list := range *f.Use {
		answers, ok := p.lists[list]
		if !ok {
			p.Fail(fmt.Sprintf("%s.use[%d]", path, i), written.Quote(list), "the name of a list of answers", fmt.Sprintf("[[answers.%s]]", list))
		}
		all = append(all, answers...)
	}
	return all
}

// complete sees that the operation can end well, and that a value can be read from the answer.
func (p *dialectParser) complete(path string, def definition, r *request) {
	want := MeansValue
	if def.answers == nothing {
		want = MeansDone
	}
	found := false
	for _, a := range r.answers {
		if a.means != want {
			continue
		}
		found = true
		groups := a.pattern.SubexpNames()
		if want != MeansValue || a.pattern == never || a.value != nil || slices.Contains(groups, "value") {
			continue
		}
		if def.answers == identity && slices.ContainsFunc(groups, func(g string) bool { return slices.Contains(identityGroups, g) }) {
			continue
		}
		p.Fail(path, fmt.Sprintf("an answer %s with no group named value", written.Quote(a.pattern.String())), "(?P<value>...) in the pattern, or value = \"...\"", "")
	}
	if !found {
		p.Fail(path, fmt.Sprintf("no answer that means %q", want), "one at least", "in [[operation.NAME.answer]] or in a list that it uses")
	}
	if name := wordsOf[def.answers]; name != "" && p.d.words[name] == nil {
		p.Fail(path, fmt.Sprintf("no [words.%s]", name), "the words that its answers use", "")
	}
}

// wordsOf says which words an answer is made of.
var wordsOf = map[answerKind]valueName{powerState: power, truth: verified}

func joined[T ~string](all []T, separator ...string) string {
	texts := make([]string, len(all))
	for i, t := range all {
		texts[i] = string(t)
	}
	if len(separator) > 0 {
		return strings.Join(texts, separator[0])
	}
	return strings.Join(texts, ", ")
}
