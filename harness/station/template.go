package station

import (
	"fmt"
	"slices"
	"strings"
)

// A template is text with places for values: {address}. A brace that is meant is written twice.
type template struct{ parts []part }

// part is a piece of text, or a value when name is not empty.
type part struct {
	text string
	name valueName
}

// parseTemplate reads a template; allowed are the values that the operation has.
func parseTemplate(text string, allowed []valueName) (template, error) {
	var t template
	var literal strings.Builder
	flush := func() {
		if literal.Len() > 0 {
			t.parts = append(t.parts, part{text: literal.String()})
			literal.Reset()
		}
	}
	for rest := text; rest != ""; {
		at := strings.IndexAny(rest, "{}")
		if at < 0 {
			literal.WriteString(rest)
			break
		}
		literal.WriteString(rest[:at])
		brace := rest[at]
		rest = rest[at+1:]
		if rest != "" && rest[0] == brace {
			literal.WriteByte(brace)
			rest = rest[1:]
			continue
		}
		if brace == '}' {
			return template{}, fmt.Errorf("a } with no { before it")
		}
		name, after, closed := strings.Cut(rest, "}")
		if !closed {
			return template{}, fmt.Errorf("a { with no } after it")
		}
		if !slices.Contains(allowed, valueName(name)) {
			return template{}, fmt.Errorf("{%s}", name)
		}
		flush()
		t.parts = append(t.parts, part{name: valueName(name)})
		rest = after
	}
	flush()
	return t, nil
}

// uses reports whether the template has a place for the value.
func (t template) uses(name valueName) bool {
	return slices.ContainsFunc(t.parts, func(p part) bool { return p.name == name })
}

// render fills in the values.
func (t template) render(word func(valueName) string) string {
	var out strings.Builder
	for _, p := range t.parts {
		if p.name == "" {
			out.WriteString(p.text)
		} else {
			out.WriteString(word(p.name))
		}
	}
	return out.String()
}
