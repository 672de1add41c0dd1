package station

import (
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"bufferstop/harness/written"

	"github.com/expr-lang/expr/vm"
)

// A field is a value computed from those of an operation.
type field struct {
	name  valueName
	from  []valueName // values that the expression uses, in alphabetical order
	value *vm.Program
	back  map[valueName]*vm.Program // the other way; empty when the file does not give it
}

type fieldFile struct {
	Value string            `toml:"value"`
	Back  map[string]string `toml:"back"`
}

func (f *field) uses(name valueName) bool { return slices.Contains(f.from, name) }

// compute is the field as text, for the values of a command.
func (f *field) compute(c Command) (string, error) {
	values := map[string]any{}
	for _, name := range f.from {
		v, err := typed(name, c.values[name])
		if err != nil {
			return "", err
		}
		values[string(name)] = v
	}
	return evaluate(f.value, values)
}

// reverse is the values from which the field was computed.
func (f *field) reverse(text string) (map[valueName]string, error) {
	var computed any = text
	if f.number() {
		n, err := strconv.Atoi(text)
		if err != nil {
			return nil, fmt.Errorf("%s is no whole number", written.Quote(text))
		}
		computed = n
	}
	values := map[valueName]string{}
	for name, program := range f.back {
		v, err := evaluate(program, map[string]any{string(f.name): computed})
		if err != nil {
			return nil, err
		}
		values[name] = v
	}
	return values, nil
}

// number reports whether the field is a number, not a text.
func (f *field) number() bool { return resultKind(f.value) == reflect.Int }

// typed is a value as expressions see it.
func typed(name valueName, text string) (any, error) {
	if _, isWord := vocabularies[name]; isWord {
		return text, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		return nil, fmt.Errorf("{%s} is %s, no whole number", name, written.Quote(text))
	}
	return n, nil
}

// fields reads [fields].
func (p *dialectParser) fields() {
	p.d.fields = map[valueName]*field{}
	known := map[string]any{}
	for _, def := range operations {
		for _, v := range def.values {
			known[string(v)] = sampleOf(v)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(p.file.Fields)) {
		path := "fields." + name
		if _, taken := known[name]; taken || !fieldName.MatchString(name) {
			p.Fail(path, written.Quote(name), "a name of small letters, digits and _ that is not that of a value", "")
			continue
		}
		f := &field{name: valueName(name), back: map[valueName]*vm.Program{}}
		var uses []string
		f.value, uses = p.expression(path+".value", p.file.Fields[name].Value, known)
		if f.value == nil {
			p.d.fields[f.name] = nil // told already; templates may name it
			continue
		}
		for _, v := range uses {
			f.from = append(f.from, valueName(v))
		}
		var itself any = ""
		if f.number() {
			itself = 0
		}
		for _, v := range slices.Sorted(maps.Keys(p.file.Fields[name].Back)) {
			at := path + ".back." + v
			if !f.uses(valueName(v)) {
				p.Fail(at, written.Quote(v), "one of the values that the field is computed from: "+joined(f.from), "")
				continue
			}
			program, _ := p.expression(at, p.file.Fields[name].Back[v], map[string]any{name: itself})
			if program == nil {
				continue
			}
			if want := reflect.TypeOf(sampleOf(valueName(v))).Kind(); resultKind(program) != want {
				p.Fail(at, fmt.Sprintf("a result of type %s", resultKind(program)), fmt.Sprintf("%s, as {%s} is", want, v), "")
				continue
			}
			f.back[valueName(v)] = program
		}
		p.d.fields[f.name] = f
	}
}

var fieldName = regexp.MustCompile(`\A[a-z][a-z0-9_]*\z`)

// oneLineText is a message of several lines as one.
func oneLineText(text string) string { return strings.Join(strings.Fields(text), " ") }
