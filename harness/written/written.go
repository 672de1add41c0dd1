// Package written reads the TOML files that builders write, strictly, and knows the place of every key, so that what is
// found wrong later can be pointed at.
package written

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

// MaxBytes bounds the files that we read: a dialect of every operation takes a few kilobytes.
const MaxBytes = 1 << 20

// An Error is one thing that is wrong with a file that a builder has written.
type Error struct {
	File         string
	Line, Column int    // counted from 1; the column counts bytes. Zero when the file as a whole is meant
	What         string // the key, or what was being read
	Got, Want    string
	Hint         string // may be empty
}

// Error is one line: file:line:column: what: got, want (hint).
func (e *Error) Error() string {
	place := e.File
	if e.Line > 0 {
		place = fmt.Sprintf("%s:%d:%d", e.File, e.Line, e.Column)
	}
	text := fmt.Sprintf("%s: %s: got %s, want %s", place, e.What, e.Got, e.Want)
	if e.Hint != "" {
		text += " (hint: " + e.Hint + ")"
	}
	return text
}

// A Document is a TOML file together with the place of every key. Problems gather in it.
type Document struct {
	name     string
	data     []byte
	places   map[string]int // dotted path of a key or element -> offset
	problems []*Error
}

// Open decodes a file strictly. When it returns false, the file is not TOML or its values have other types, and there is
// nothing to check further.
func Open(name string, data []byte, into any) (*Document, bool) {
	d := &Document{name: name, data: data, places: map[string]int{}}
	if len(data) > MaxBytes {
		d.problems = append(d.problems, &Error{File: name, What: "size", Got: fmt.Sprintf("%d bytes", len(data)),
			Want: fmt.Sprintf("at most %d", MaxBytes)})
		return d, false
	}
	err := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(into)
	var unknown *toml.StrictMissingError
	var wrong *toml.DecodeError
	switch {
	case err == nil:
	case errors.As(err, &unknown):
		keys := keysOf(into)
		for i := range unknown.Errors {
			e := &unknown.Errors[i]
			line, column := e.Position()
			path := e.Key()
			hint := "is it misspelt, or in the wrong table?"
			if near := Nearest(path[len(path)-1], keys); near != "" && near != path[len(path)-1] {
				hint = "did you mean " + near + "?"
			}
			d.problems = append(d.problems, &Error{File: name, Line: line, Column: column, What: "key",
				Got: strings.Join(path, "."), Want: "a key that this file may have", Hint: hint})
		}
	case errors.As(err, &wrong):
		line, column := wrong.Position()
		what := strings.Join(wrong.Key(), ".")
		if what == "" {
			what = "syntax"
		}
		d.problems = append(d.problems, &Error{File: name, Line: line, Column: column, What: what,
			Got: Quote(d.lineAt(line)), Want: "TOML of the right type: " + strings.TrimPrefix(wrong.Error(), "toml: ")})
		return d, false
	default:
		d.problems = append(d.problems, &Error{File: name, What: "content",
			Got: strings.TrimPrefix(err.Error(), "toml: "), Want: "TOML"})
		return d, false
	}
	d.index()
	return d, true
}

func (d *Document) lineAt(line int) string {
	for i, text := range strings.Split(string(d.data), "\n") {
		if i+1 == line {
			return strings.TrimSuffix(text, "\r")
		}
	}
	return ""
}

// Fail notes a problem with the value at a path.
func (d *Document) Fail(path, got, want, hint string) {
	d.problems = append(d.problems, d.Problem(path, got, want, hint))
}

// Problem is a problem with the value at a path. A path that is not in the file points at the nearest table above it.
func (d *Document) Problem(path, got, want, hint string) *Error {
	e := &Error{File: d.name, What: path, Got: got, Want: want, Hint: hint}
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

// Err joins the problems in the order of their places.
func (d *Document) Err() error {
	if len(d.problems) == 0 {
		return nil
	}
	slices.SortStableFunc(d.problems, func(a, b *Error) int {
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
func (d *Document) index() {
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
func (d *Document) header(node *unstable.Node, elements map[string]int) (path string, offset int) {
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

func (d *Document) keyValue(table string, node *unstable.Node) {
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

func (d *Document) value(path string, node *unstable.Node, offset int) {
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
func (d *Document) place(path string, offset int) {
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

// Quote shows a text from a file in an error, however long or odd it is.
func Quote(text string) string {
	const longest = 120
	if len(text) > longest {
		return strconv.Quote(text[:longest]) + "…"
	}
	return strconv.Quote(text)
}

// Positive reads a time above zero.
func (d *Document) Positive(path string, text *string, otherwise time.Duration) time.Duration {
	if text == nil {
		return otherwise
	}
	t, err := time.ParseDuration(*text)
	if err != nil || t <= 0 {
		d.Fail(path, Quote(*text), `a time above zero with its unit, as in "250ms"`, "")
		return otherwise
	}
	return t
}

// Between reads a whole number.
func (d *Document) Between(path string, n *int, low, high, otherwise int) int {
	if n == nil {
		return otherwise
	}
	if *n < low || *n > high {
		d.Fail(path, fmt.Sprint(*n), fmt.Sprintf("%d to %d", low, high), "")
		return otherwise
	}
	return *n
}
