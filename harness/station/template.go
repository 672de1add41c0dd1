package station

import (
	"fmt"
	"slices"
	"strings"

	"bufferstop/harness/written"
)

// A template is a message with places for values: {address}, or {cv:x2} with a format. A brace that is meant is written
// twice. In a binary dialect the text between the places is bytes in hexadecimal.
type template struct {
	parts  []part
	binary bool
}

// part is a piece of text, or a value when name is not empty.
type part struct {
	text   string // in a binary dialect as hexText writes it
	name   valueName
	field  *field // when the value is computed
	format format
}

// parseTemplate reads a template; allowed are the values that may stand in it.
func parseTemplate(text string, binary bool, allowed []valueName) (template, error) {
	t := template{binary: binary}
	var literal strings.Builder
	flush := func() error {
		text := literal.String()
		literal.Reset()
		if binary {
			p, err := hexBytes(text)
			if err != nil {
				return fmt.Errorf("%s, which is not bytes in hexadecimal", written.Quote(text))
			}
			text = hexText(p)
		}
		if text != "" {
			t.parts = append(t.parts, part{text: text})
		}
		return nil
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
		place, after, closed := strings.Cut(rest, "}")
		if !closed {
			return template{}, fmt.Errorf("a { with no } after it")
		}
		name, formatText, formatted := strings.Cut(place, ":")
		if !slices.Contains(allowed, valueName(name)) {
			return template{}, fmt.Errorf("{%s}", name)
		}
		f := plainFormat(binary)
		if formatted {
			var ok bool
			if f, ok = parseFormat(formatText, binary); !ok {
				return template{}, fmt.Errorf("{%s}, which has no format that there is", place)
			}
		}
		if err := flush(); err != nil {
			return template{}, err
		}
		t.parts = append(t.parts, part{name: valueName(name), format: f})
		rest = after
	}
	if err := flush(); err != nil {
		return template{}, err
	}
	return t, nil
}

// uses reports whether the template has a place for the value.
func (t template) uses(name valueName) bool {
	return slices.ContainsFunc(t.parts, func(p part) bool { return p.name == name })
}

// render fills in the values, each as write gives it.
func (t template) render(write func(part) (string, error)) (string, error) {
	var pieces []string
	for _, p := range t.parts {
		piece := p.text
		if p.name != "" {
			var err error
			if piece, err = write(p); err != nil {
				return "", err
			}
		}
		if piece != "" {
			pieces = append(pieces, piece)
		}
	}
	if t.binary {
		return strings.Join(pieces, " "), nil
	}
	return strings.Join(pieces, ""), nil
}
