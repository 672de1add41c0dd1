package station

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"bufferstop/harness/written"
)

// A CommandError says where a command in plain words cannot be understood.
type CommandError struct {
	Text   string // as it was given
	Column int    // of the word in question, in bytes from 1
	Got    string // the word; empty when the command ended too early
	Want   string
	Hint   string // may be empty
}

// Error shows the word and what was wanted.
func (e *CommandError) Error() string {
	got := written.Quote(e.Got)
	if e.Got == "" {
		got = "the end"
	}
	text := fmt.Sprintf("%s, column %d: got %s, want %s", written.Quote(e.Text), e.Column, got, e.Want)
	if e.Hint != "" {
		text += " (hint: " + e.Hint + ")"
	}
	return text
}

// ParseCommand reads a command in plain words, such as "read cv 29" or "speed long 1000 forward 10 of 128"; CommandForms
// lists them all. Addresses are "3" for short and "long 1000" for long ones. Capital letters and spaces do not matter.
// Numbers may be out of the range that DCC has, up to 65535. Errors are *CommandError.
func ParseCommand(text string) (Command, error) {
	words := splitWords(text)
	var furthest *CommandError
	reached := -1
	var wants, shapes []string
	for _, f := range forms {
		values, at, problem := readForm(f.text, text, words)
		if problem == nil {
			c, err := newCommand(f.operation, values)
			if err != nil {
				return Command{}, &CommandError{Text: text, Column: 1, Got: text, Want: "a command with values that there are", Hint: err.Error()}
			}
			return c, nil
		}
		if at > reached {
			furthest, reached, wants, shapes = problem, at, nil, nil
		}
		if at == reached {
			if !slices.Contains(wants, problem.Want) {
				wants = append(wants, problem.Want)
			}
			shapes = append(shapes, shownForm.Replace(f.text))
			if furthest.Hint == "" {
				furthest.Hint = problem.Hint
			}
		}
	}
	furthest.Want = strings.Join(wants, ", or ")
	if furthest.Hint == "" && reached > 0 {
		furthest.Hint = strings.Join(shapes, "; or ")
	}
	if near := nearest(furthest.Got, wants); near != "" {
		furthest.Hint = "did you mean " + near + "?"
	}
	return Command{}, furthest
}

// word is a word of a command in small letters, with its place.
type word struct {
	text   string
	column int
}

func splitWords(text string) []word {
	var words []word
	at := 0
	for _, f := range strings.Fields(text) {
		at += strings.Index(text[at:], f)
		words = append(words, word{strings.ToLower(f), at + 1})
		at += len(f)
	}
	return words
}

// readForm reads words as one of the forms. at is how many words it could read.
func readForm(form, text string, words []word) (values map[valueName]string, at int, problem *CommandError) {
	values = map[valueName]string{kind: "short", method: "default"}
	required, optional, _ := strings.Cut(form, " [")
	wanted := strings.Fields(required)
	if optional != "" && len(words) > len(wanted) {
		wanted = append(wanted, strings.Fields(strings.TrimSuffix(optional, "]"))...)
	}
	fail := func(want, hint string) *CommandError {
		e := &CommandError{Text: text, Column: len(text) + 1, Want: want, Hint: hint}
		if at < len(words) {
			e.Column, e.Got = words[at].column, words[at].text
		}
		return e
	}
	for _, w := range wanted {
		k, stands := wordKinds[w]
		if !stands {
			if at >= len(words) || words[at].text != w {
				return nil, at, fail(w, "")
			}
			at++
			continue
		}
		if k.value == address && at < len(words) && words[at].text == "long" {
			values[kind] = "long"
			at++
		}
		if at >= len(words) {
			return nil, at, fail(k.want, "")
		}
		got := words[at].text
		if k.words != nil {
			if !slices.Contains(k.words, got) {
				return nil, at, fail(k.want, "")
			}
			values[k.value] = got
			at++
			continue
		}
		n, err := strconv.ParseUint(got, 10, 16)
		if k.value == address {
			if hint := addressProblem(n, err, values[kind] == "long"); hint != "" {
				return nil, at, fail(k.want, strings.TrimSpace(hint))
			}
		} else if err != nil || int(n) > k.most {
			return nil, at, fail(k.want, "")
		}
		values[k.value] = strconv.FormatUint(n, 10)
		at++
	}
	if at < len(words) {
		return nil, at, fail("the end", "")
	}
	return values, at, nil
}

// addressProblem is empty when there is such an address, and else a hint or a space.
func addressProblem(n uint64, err error, long bool) string {
	switch {
	case err != nil:
		return " "
	case long && n > 10239:
		return "the largest long address is 10239"
	case !long && n == 0:
		return "address 0 is all locomotives: stop all"
	case !long && n > 127:
		return fmt.Sprintf("a short address is at most 127; long %d is a long one", n)
	}
	return ""
}

// nearest is the wanted word that was probably meant.
func nearest(got string, wants []string) string {
	best, least := "", 3
	if got == "" || got[0] < 'a' || got[0] > 'z' {
		return "" // a number is not misspelt
	}
	for _, want := range wants {
		for _, w := range strings.FieldsFunc(want, func(r rune) bool { return r == ' ' || r == ',' || r == ':' }) {
			if d := distance(got, w); len(w) > 2 && d < least && d < len(w)/2+1 && !slices.Contains([]string{"the", "end", "number", "address"}, w) {
				best, least = w, d
			}
		}
	}
	return best
}

// distance is how many letters must be changed, added or left out to make one word of the other (Levenshtein's).
func distance(a, b string) int {
	if len(a) > 20 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
