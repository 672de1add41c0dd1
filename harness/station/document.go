package station

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// maxFileBytes bounds the files that we read: a dialect of every operation takes a few kilobytes.
const maxFileBytes = 1 << 20

// A document is a TOML file together with the place of every key, so that what is found wrong later can be pointed at.
type document struct {
	name     string
	data     []byte
	places   map[string]int // dotted path of a key or element -> offset
	problems []*FileError
}

// open decodes a file strictly. When it returns false, the file is not TOML or its values have other types, and there is
// nothing to check further.
func open(name string, data []byte, into any) (*document, bool) {
	d := &document{name: name, data: data, places: map[string]int{}}
	if len(data) > maxFileBytes {
		d.problems = append(d.problems, &FileError{File: name, What: "size", Got: fmt.Sprintf("%d bytes", len(data)),
			Want: fmt.Sprintf("at most %d", maxFileBytes)})
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
			d.problems = append(d.problems, &FileError{File: name, Line: line, Column: column, What: "key",
				Got: strings.Join(e.Key(), "."), Want: "a key that this file may have", Hint: "is it misspelt, or in the wrong table?"})
		}
	case errors.As(err, &wrong):
		line, column := wrong.Position()
		what := strings.Join(wrong.Key(), ".")
		if what == "" {
			what = "syntax"
		}
		d.problems = append(d.problems, &FileError{File: name, Line: line, Column: column, What: what,
			Got: quote(d.lineAt(line)), Want: "TOML of the right type: " + strings.TrimPrefix(wrong.Error(), "toml: ")})
		return d, false
	default:
		d.problems = append(d.problems, &FileError{File: name, What: "content",
			Got: strings.TrimPrefix(err.Error(), "toml: "), Want: "TOML"})
		return d, false
	}
	d.index()
	return d, true
}

func (d *document) lineAt(line int) string {
	for i, text := range strings.Split(string(d.data), "\n") {
		if i+1 == line {
			return strings.TrimSuffix(text, "\r")
		}
	}
	return ""
}

// fail notes a problem with the value at a path.
func (d *document) fail(path, got, want, hint string) {
	d.problems = append(d.problems, d.problem(path, got, want, hint))
}

// problem is a problem with the value at a path. A path that is not in the file points at the nearest table above it.
func (d *document) problem(path, got, want, hint string) *FileError {
	e := &FileError{File: d.name, What: path, Got: got, Want: want, Hint: hint}
	for at := path; at != ""; {
		if offset, ok := d.places[at]; ok {
			before := d.data[:offset]
			e.Line = bytes.Count(before, []byte{'\n'}) + 1
			e.Column = offset - bytes.LastIndexByte(before, '\n')
			break
		}
		cut := strings.LastIndexAny(at, ".[")
		at = at[:max(cut, 0)]
	}
	return e
}

// err joins the problems in the order of their places.
func (d *document) err() error {
	if len(d.problems) == 0 {
		return nil
	}
	slices.SortStableFunc(d.problems, func(a, b *FileError) int {
		if (a.Line == 0) != (b.Line == 0) {
			return cmp.Compare(b.Line, a.Line) // what has no place comes last
		}
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	all := make([]error, len(d.problems))
	for i, p := range d.problems {
		all[i] = p
	}
	return errors.Join(all...)
}

// index finds the place of every key. The file has been decoded before, so it is TOML.
func (d *document) index() {
	var p unstable.Parser
	p.Reset(d.data)
	var table string
	elements := map[string]int{} // array of tables -> elements until now
	for p.NextExpression() {
		node := p.Expression()
		switch node.Kind {
		case unstable.Table:
			path, offset := d.header(node, elements)
			table = path
			d.place(table, offset)
		case unstable.ArrayTable:
			path, offset := d.header(node, nil)
			path = resolve(path, elements, false)
			d.place(path, offset)
			table = path + "[" + strconv.Itoa(elements[path]) + "]"
			elements[path]++
			d.place(table, offset)
		case unstable.KeyValue:
			d.keyValue(table, node)
		}
	}
}

// header is the path in a table header; parts that are arrays of tables mean their last element.
func (d *document) header(node *unstable.Node, elements map[string]int) (path string, offset int) {
	key := node.Key()
	offset = -1
	for key.Next() {
		if offset < 0 {
			offset = int(key.Node().Raw.Offset)
		}
		path = join(path, string(key.Node().Data))
	}
	if elements != nil {
		path = resolve(path, elements, true)
	}
	return path, offset
}

// resolve puts the number of the last element behind every part of a path that is an array of tables.
func resolve(path string, elements map[string]int, last bool) string {
	resolved := ""
	parts := strings.Split(path, ".")
	for i, part := range parts {
		resolved = join(resolved, part)
		if n := elements[resolved]; n > 0 && (last || i < len(parts)-1) {
			resolved += "[" + strconv.Itoa(n-1) + "]"
		}
	}
	return resolved
}

func (d *document) keyValue(table string, node *unstable.Node) {
	path := table
	offset := -1
	key := node.Key()
	for key.Next() {
		if offset < 0 {
			offset = int(key.Node().Raw.Offset)
		}
		path = join(path, string(key.Node().Data))
		// A dotted key makes the tables on its way.
		d.place(path, offset)
	}
	d.value(path, node.Value(), offset)
}

func (d *document) value(path string, node *unstable.Node, offset int) {
	if node.Raw.Length > 0 {
		offset = int(node.Raw.Offset)
	}
	d.places[path] = offset
	children := node.Children()
	switch node.Kind {
	case unstable.Array:
		for i := 0; children.Next(); i++ {
			d.value(path+"["+strconv.Itoa(i)+"]", children.Node(), offset)
		}
	case unstable.InlineTable:
		for children.Next() {
			d.keyValue(path, children.Node())
		}
	}
}

// place notes where a path is first seen.
func (d *document) place(path string, offset int) {
	if _, ok := d.places[path]; !ok {
		d.places[path] = offset
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// quote shows a text from a file in an error, however long or odd it is.
func quote(text string) string {
	const longest = 120
	if len(text) > longest {
		return strconv.Quote(text[:longest]) + "…"
	}
	return strconv.Quote(text)
}

// positive reads a time above zero.
func (d *document) positive(path string, text *string, otherwise time.Duration) time.Duration {
	if text == nil {
		return otherwise
	}
	t, err := time.ParseDuration(*text)
	if err != nil || t <= 0 {
		d.fail(path, quote(*text), `a time above zero with its unit, as in "250ms"`, "")
		return otherwise
	}
	return t
}

// between reads a whole number.
func (d *document) between(path string, n *int, low, high, otherwise int) int {
	if n == nil {
		return otherwise
	}
	if *n < low || *n > high {
		d.fail(path, fmt.Sprint(*n), fmt.Sprintf("%d to %d", low, high), "")
		return otherwise
	}
	return *n
}
