package bench

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"bufferstop/harness/station"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// largest bounds a rig file, which takes a few hundred bytes.
const largest = 64 << 10

// A document is a TOML file and what is wrong with it.
type document struct {
	name     string
	data     []byte
	places   map[string]int // dotted path of a key or table -> offset
	problems []*station.FileError
}

// read decodes a file strictly. It returns false when there is nothing to check further.
func read(name string, data []byte, into any) (*document, bool) {
	d := &document{name: name, data: data, places: map[string]int{}}
	if len(data) > largest {
		d.note(0, 0, "size", fmt.Sprintf("%d bytes", len(data)), fmt.Sprintf("at most %d", largest), "")
		return d, false
	}
	err := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(into)
	var unknown *toml.StrictMissingError
	var wrong *toml.DecodeError
	switch {
	case err == nil:
	case errors.As(err, &unknown):
		for i := range unknown.Errors {
			e := &unknown.Errors[i]
			line, column := e.Position()
			d.note(line, column, "key", strings.Join(e.Key(), "."), "a key that this file may have",
				"is it misspelt, or in the wrong table?")
		}
	case errors.As(err, &wrong):
		line, column := wrong.Position()
		what := cmp.Or(strings.Join(wrong.Key(), "."), "syntax")
		lines := strings.Split(string(data), "\n")
		got := strings.TrimSuffix(lines[min(max(line, 1), len(lines))-1], "\r")
		d.note(line, column, what, quote(got), "TOML of the right type: "+strings.TrimPrefix(wrong.Error(), "toml: "), "")
		return d, false
	default:
		d.note(0, 0, "content", strings.TrimPrefix(err.Error(), "toml: "), "TOML", "")
		return d, false
	}
	d.index()
	return d, true
}

func (d *document) note(line, column int, what, got, want, hint string) {
	d.problems = append(d.problems, &station.FileError{
		File: d.name, Line: line, Column: column, What: what, Got: got, Want: want, Hint: hint})
}

// fail notes a problem with the value at a path. One that is not in the file points at its table.
func (d *document) fail(path, got, want, hint string) {
	offset, ok := d.places[path]
	if !ok {
		table, _, _ := strings.Cut(path, ".")
		if offset, ok = d.places[table]; !ok {
			d.note(0, 0, path, got, want, hint)
			return
		}
	}
	before := d.data[:offset]
	d.note(bytes.Count(before, []byte("\n"))+1, offset-bytes.LastIndexByte(before, '\n'), path, got, want, hint)
}

// err joins the problems in the order of their places.
func (d *document) err() error {
	slices.SortStableFunc(d.problems, func(a, b *station.FileError) int {
		if (a.Line == 0) != (b.Line == 0) {
			return cmp.Compare(b.Line, a.Line) // what has no place comes last
		}
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	var all []error
	for _, p := range d.problems {
		all = append(all, p)
	}
	return errors.Join(all...)
}

// index finds the place of every key. The file has been decoded before, so it is TOML.
func (d *document) index() {
	var p unstable.Parser
	p.Reset(d.data)
	table := ""
	for p.NextExpression() {
		switch node := p.Expression(); node.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = d.key("", node)
		case unstable.KeyValue:
			d.value(table, node)
		}
	}
}

// key notes where a key stands, and the tables that it makes on its way, and returns its path.
func (d *document) key(path string, node *unstable.Node) string {
	for key := node.Key(); key.Next(); {
		path = strings.TrimPrefix(path+"."+string(key.Node().Data), ".")
		if _, known := d.places[path]; !known {
			d.places[path] = int(key.Node().Raw.Offset)
		}
	}
	return path
}

// value notes where a value stands.
func (d *document) value(table string, node *unstable.Node) {
	path := d.key(table, node)
	value := node.Value()
	if value.Raw.Length > 0 {
		d.places[path] = int(value.Raw.Offset)
	}
	if value.Kind == unstable.InlineTable {
		for inner := value.Children(); inner.Next(); {
			d.value(path, inner.Node())
		}
	}
}

// quote shows a text from a file in an error, however long or odd it is.
func quote(text string) string {
	const longest = 120
	if len(text) > longest {
		return strconv.QuoteToASCII(text[:longest]) + "..."
	}
	return strconv.QuoteToASCII(text)
}
