package station

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// errOther says that a message asks for something else.
var errOther = errors.New("another request")

// A recogniser reads the commands of one operation back from messages.
type recogniser struct {
	d         *Dialect
	operation Operation
	request   *request
	pattern   *regexp.Regexp      // with a group for every place
	places    []part              // of the groups
	words     []map[string]string // of the places: word -> value, nil without words
}

// newRecogniser turns a template round.
func newRecogniser(d *Dialect, o Operation, r *request) (recogniser, error) {
	path := "operation." + string(o)
	g := recogniser{d: d, operation: o, request: r}
	var pattern strings.Builder
	for _, p := range r.template.parts {
		if p.name == "" {
			pattern.WriteString(regexp.QuoteMeta(d.compact(p.text)))
			continue
		}
		expression := p.format.expression()
		var meanings map[string]string
		switch words := d.words[p.name]; {
		case p.field != nil:
			if !p.field.number() {
				expression = ".*?"
			}
			for _, v := range p.field.from {
				_, back := p.field.back[v]
				_, fixed := r.fixed[v]
				if !back && !fixed && !r.template.uses(v) {
					return g, d.places.Problem("fields."+string(p.name)+".back", fmt.Sprintf("no way back to {%s}", v),
						fmt.Sprintf("%s = \"an expression over %s\"", v, p.name), "a simulated station has to know it")
				}
			}
		case words != nil:
			meanings = map[string]string{}
			var all []string
			for text, word := range words {
				if meanings[word] == "" || meanings[word] == "default" || text < meanings[word] && text != "default" {
					meanings[word] = text
				}
				all = append(all, regexp.QuoteMeta(d.compact(word)))
			}
			slices.Sort(all)
			expression = strings.Join(all, "|")
		}
		pattern.WriteString("(" + expression + ")")
		g.places = append(g.places, p)
		g.words = append(g.words, meanings)
	}
	var err error
	if g.pattern, err = regexp.Compile(`\A(?:` + pattern.String() + `)\z`); err != nil {
		return g, d.places.Problem(path+".send", err.Error(), "a template of reasonable length", "")
	}
	return g, nil
}

// compact is a message without the spaces between the bytes of a binary dialect.
func (d *Dialect) compact(text string) string {
	if d.binary {
		return strings.ReplaceAll(text, " ", "")
	}
	return text
}

// spread puts the spaces back.
func (d *Dialect) spread(text string) string {
	if p, err := hexBytes(text); d.binary && err == nil {
		return hexText(p)
	}
	return text
}

// command reads a message. The error is errOther when it does not look like one of this operation at all.
func (g *recogniser) command(text string) (Command, error) {
	found := g.pattern.FindStringSubmatch(g.d.compact(text))
	if found == nil {
		return Command{}, errOther
	}
	values := map[valueName]string{}
	for i, p := range g.places {
		piece := g.d.spread(found[i+1])
		if g.words[i] != nil {
			values[p.name] = g.words[i][piece]
			continue
		}
		number := piece
		if p.field == nil || p.field.number() {
			var ok bool
			if number, ok = p.format.read(piece); !ok {
				return Command{}, errOther
			}
		}
		if p.field == nil {
			values[p.name] = number
			continue
		}
		back, err := p.field.reverse(number)
		if err != nil {
			return Command{}, err
		}
		for name, v := range back {
			if !g.request.template.uses(name) {
				values[name] = v
			}
		}
	}
	c, err := g.build(values)
	if err != nil {
		return Command{}, err
	}
	// What does not come out the same was no message of this dialect: a step of 200 in a field of 128 steps, say.
	if _, again, err := g.d.render(c); err != nil || again != text {
		return Command{}, errOther
	}
	return c, nil
}

// build makes a command, with the values that the template leaves out.
func (g *recogniser) build(values map[valueName]string) (Command, error) {
	for name, v := range g.request.fixed {
		values[name] = v
	}
	for _, name := range operations[g.operation].values {
		if _, known := values[name]; known {
			continue
		}
		switch name {
		case method:
			values[name] = "default"
		case kind:
			values[name] = "short"
			if n, err := strconv.Atoi(values[address]); err == nil && n >= g.d.firstLong {
				values[name] = "long"
			}
		}
	}
	return newCommand(g.operation, values)
}

// cutIndex takes the number off the path of an element.
func cutIndex(path string) (table, index string, found bool) { return strings.Cut(path, "[") }
