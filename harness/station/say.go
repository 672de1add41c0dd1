package station

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"bufferstop/harness/written"

	"periph.io/x/conn/v3/physic"
)

// said is what stands in a place of what a station says.
type said struct {
	text   string
	number bool // to be written in a format
}

// say reads what a simulated station says.
func (p *dialectParser) say(path string, text *string) *template {
	if text == nil {
		return nil
	}
	groups := make([]valueName, len(allGroups))
	for i, g := range allGroups {
		groups[i] = valueName(g)
	}
	t, err := parseTemplate(*text, p.d.binary, groups)
	if err != nil {
		p.Fail(path, err.Error(), "a message, with {"+joined(groups, "}, {")+"} where the pattern has these groups", "a brace that is meant is written twice")
		return nil
	}
	return &t
}

// speak is the message of an answer with its groups filled in.
func (d *Dialect) speak(a *answer, groups map[valueName]said) (string, error) {
	text, err := a.say.render(func(p part) (string, error) {
		g := groups[p.name]
		if !g.number {
			if d.binary && p.name != value {
				return hexText([]byte(g.text)), nil
			}
			return g.text, nil
		}
		f := p.format
		if f.text == "" {
			f = a.format(p.name, d.binary)
		}
		return f.write(g.text)
	})
	switch {
	case err != nil:
		return "", err
	case !a.pattern.MatchString(text):
		return "", fmt.Errorf("%s, which its pattern does not match", written.Quote(text))
	}
	return text, nil
}

// These stand in say when it is checked. The codes and texts are of several shapes, since a pattern may
// ask for one.
var (
	sampleCodes = []string{"7", "17", "110", "-222", "2001", "E4"}
	sampleTexts = []string{"out of range", "Example 1.0", "17", ""}
)

// sayMatches sees that the pattern of an answer matches what is said, for some code and text and all the values given.
func (p *dialectParser) sayMatches(a answer, values ...said) {
	if a.say == nil || p.checked[a.path] {
		return
	}
	// Operations share answers, whose values alone differ between them.
	p.checked[a.path] = a.means != MeansValue
	if len(values) == 0 {
		values = []said{{}} // as the pattern has it
	}
	samples := p.d.sampleGroups(&a)
	for _, v := range values {
		if err := p.d.speaksWell(&a, v, samples); err != nil {
			p.Fail(a.path+".say", err.Error(), "what the pattern of the same answer matches", "")
			p.checked[a.path] = true // once is enough
			return
		}
	}
}

// speaksWell tries to say the value with one of the samples; the error is that of the first.
func (d *Dialect) speaksWell(a *answer, v said, samples []map[valueName]said) error {
	var first error
	for _, groups := range samples {
		if a.value == nil && v != (said{}) {
			groups["value"] = v
		}
		_, err := d.speak(a, groups)
		if err == nil {
			return nil
		}
		if first == nil {
			first = err
		}
	}
	return first
}

// sampleGroups are what may stand in the say of an answer: things that its pattern matches, and things of several shapes.
func (d *Dialect) sampleGroups(a *answer) []map[valueName]said {
	var all []map[valueName]said
	for _, text := range patternSamples(a.pattern) {
		found := map[string]string{}
		a.keep(found, text)
		groups := map[valueName]said{}
		for _, g := range allGroups {
			groups[valueName(g)] = said{text: d.characters(found[g])}
		}
		for _, g := range []valueName{"value", "code"} {
			if number, ok := a.format(g, d.binary).read(found[string(g)]); ok {
				groups[g] = said{number, true}
			}
		}
		all = append(all, groups)
	}
	for _, code := range sampleCodes {
		for _, text := range sampleTexts {
			groups := map[valueName]said{"value": {"1", true}, "code": {code, true}, "text": {text: text}}
			for _, g := range identityGroups {
				groups[valueName(g)] = said{text: text}
			}
			all = append(all, groups)
		}
	}
	return all
}

// wireValue is a value in the harness's words as the station says it. exact is false for a quantity that had to be rounded
// to the unit.
func (d *Dialect) wireValue(o Operation, r *request, a *answer, text string, whole bool) (said, error) {
	switch operations[o].answers {
	case powerState:
		return d.wireWord(power, text)
	case truth:
		return d.wireWord(verified, text)
	case amount:
		milliamperes, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsInf(milliamperes, 0) || math.IsNaN(milliamperes) {
			return said{}, fmt.Errorf("%s is no number of milliamperes", written.Quote(text))
		}
		n := milliamperes * float64(physic.MilliAmpere) / float64(r.unit)
		if whole {
			n = math.Round(n)
		}
		return said{strconv.FormatFloat(n, 'f', -1, 64), true}, nil
	case byteValue:
		if _, err := strconv.ParseUint(text, 10, 8); err != nil {
			return said{}, fmt.Errorf("%s is no value of 0..255", written.Quote(text))
		}
	}
	return said{text, true}, nil
}

func (d *Dialect) wireWord(name valueName, text string) (said, error) {
	word, ok := d.words[name][text]
	if !ok {
		return said{}, errors.New("no word for " + string(name) + " " + written.Quote(text))
	}
	return said{text: word}, nil
}

// sampleValues are values of the answer to an operation, as the station says them.
func (d *Dialect) sampleValues(o Operation, r *request, a *answer) []said {
	var samples []string
	switch operations[o].answers {
	case powerState:
		samples = []string{"on", "off", "tripped"}
	case truth:
		samples = []string{"true", "false"}
	case amount:
		samples = []string{"0", strconv.FormatFloat(100*float64(r.unit)/float64(physic.MilliAmpere), 'f', -1, 64)}
	case byteValue:
		samples = []string{"0", "7", "255"}
	}
	var values []said
	for _, text := range samples {
		if v, err := d.wireValue(o, r, a, text, true); err == nil {
			values = append(values, v)
		}
	}
	return values
}
